-- A log of format 1, kept for tests/test_log_versions.c: with a key, and a checkpoint that it signed
-- Never written anew.
PRAGMA application_id = 1415670905;
PRAGMA user_version = 1;
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE record (
  seq INTEGER PRIMARY KEY,
  text TEXT NOT NULL,
  hash BLOB NOT NULL,
  kind TEXT GENERATED ALWAYS AS (json_extract(text, '$.kind')) VIRTUAL,
  t TEXT GENERATED ALWAYS AS (json_extract(text, '$.t')) VIRTUAL,
  meter TEXT GENERATED ALWAYS AS (json_extract(text, '$.meter')) VIRTUAL,
  position TEXT GENERATED ALWAYS AS (json_extract(text, '$.position')) VIRTUAL
) STRICT;
INSERT INTO record VALUES(1,'{"seq":1,"t":"2026-11-25T16:51:12.460071Z","kind":"log","format":"tally-record-1","identity":"d3766f0575198972f17033907ed328ec","bench":"vm","version":"0.1.0","key":"a2487ef23e9269a35b5f2e43e05d358fe48c2f63dcec506e159e824c3a5962d2"}',X'd8790fc093b12343349d3642f3205b9c6cba863e3a7a229ab5e035ae5fec3582');
INSERT INTO record VALUES(2,'{"seq":2,"t":"2026-11-25T16:51:12.476677Z","kind":"clock","boot":"c422b845-2268-4cff-8626-2e8dc303a42b","cause":"start","version":"0.1.0"}',X'92cfb464c9138b563041a920f57116c79acf4348ec2983b1f7e3266683e5e600');
INSERT INTO record VALUES(3,'{"seq":3,"t":"2026-11-25T16:51:12.963981Z","kind":"job","job":"monitor","state":"started","open":true,"unit":"cold","condition":"found","reach":"in-circuit","uid":0}',X'51559f39cd0519909b7fe787ac3087dccf7b65133ba6a7b9a1c5439f6cff3cb5');
INSERT INTO record VALUES(4,'{"seq":4,"t":"2026-11-25T16:51:12.972223Z","kind":"position","job":"monitor","position":"R1","change":"added","sheet":{"written":{"position":"R1","nominal":"100k","tolerance":"10%"},"kind":"resistor","function":"ohm","nominal":100000,"limits":[90000,110000],"service":null},"uid":0}',X'c7077c337462e3fcff879dc4c4bb009be0f4b0adee6af890f42e6d89cf6dec5b');
INSERT INTO record VALUES(5,'{"seq":5,"t":"2026-11-25T16:51:12.979479Z","kind":"entry","job":"monitor","position":"R1","quantity":"value","condition":"found","reach":"in-circuit","meter":"bridge","function":"ohm","value":98000,"digit":1000,"prefix":3,"u":3735.46,"n":1,"settled":true,"source":"typed","verdict":"unsure","side":"low","reason":"circuit","deviation":-0.02,"limits":[90000,110000],"why":"other paths lower it: lift one leg","service":{"verdict":"unsure","side":"low","reason":"circuit","deviation":-0.02,"limits":[80000,120000],"assumed":true,"why":"other paths lower it: lift one leg"},"accuracy":"assumed","uid":0,"shown":"98 kohm","frames":[],"trail":[]}',X'f9857580d8f7d33412c887d940642f0919f1cebb996779f315cf81c1b5168a2e');
INSERT INTO record VALUES(6,'{"seq":6,"t":"2026-11-25T16:51:12.986438Z","kind":"position","job":"monitor","position":"C7","change":"named","sheet":{"written":{"position":"C7"},"kind":"capacitor","function":"farad","nominal":null,"limits":null,"service":null},"uid":0}',X'1152b081af46c4b9fa059a14045f3575a6587754d2adfac2daf1fcecf3e9d5ca');
INSERT INTO record VALUES(7,'{"seq":7,"t":"2026-11-25T16:51:12.986438Z","kind":"note","job":"monitor","position":"C7","text":"0.47 µF, leaky","uid":0}',X'0ec456f27689dbf05abc47f1c2c6a83baa6ef6e361a870cc8f571b4cf8d974fd');
INSERT INTO record VALUES(8,'{"seq":8,"t":"2026-11-25T16:51:12.993013Z","kind":"job","job":"monitor","state":"closed","open":false,"unit":"cold","condition":"found","reach":"in-circuit","uid":0}',X'cdcc3514502f45824964a71047455d95a11ef85347c5d017f102585c07d87ba2');
INSERT INTO record VALUES(9,'{"seq":9,"t":"2026-11-25T16:51:12.993013Z","kind":"checkpoint","of":8,"hash":"cdcc3514502f45824964a71047455d95a11ef85347c5d017f102585c07d87ba2","signature":"7bc60108d08ea6ca989d9e55578fd2dccff71713e79cb216f4eb3a3d5c8ffe4646be006c98e4e5e156bc92c6a1a9c2f02dddeecbfedfabfd427e27c1bd8f860a"}',X'f7441dfa69c19e8144bb465782d36ea66f4d32ec3597fd85046499af814a0084');
CREATE TABLE open_run (
  meter TEXT PRIMARY KEY,
  t INTEGER NOT NULL, -- us since 1970
  body TEXT NOT NULL  -- the members of the trail record to be
) STRICT;
CREATE TABLE run (
  meter TEXT NOT NULL,
  function TEXT NOT NULL,
  seq INTEGER NOT NULL,   -- of the trail record
  t INTEGER NOT NULL,     -- us since 1970, its first reading
  until INTEGER NOT NULL, -- its last
  silence INTEGER,        -- us since the reading before it; null: there was none
  position TEXT,
  low REAL, high REAL, first REAL, last REAL, -- SI; null: no reading has a value
  n INTEGER NOT NULL,
  PRIMARY KEY (meter, function, seq)
) STRICT, WITHOUT ROWID;
CREATE TABLE rollup (
  meter TEXT NOT NULL,
  function TEXT NOT NULL,
  seq INTEGER NOT NULL,   -- of the last of its runs
  since INTEGER NOT NULL, -- of the first
  t INTEGER NOT NULL, until INTEGER NOT NULL,
  silence INTEGER,        -- before the first of them
  inner INTEGER NOT NULL, -- the longest silence between two of them
  low REAL, high REAL, first REAL, last REAL, n INTEGER NOT NULL,
  PRIMARY KEY (meter, function, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX record_by_meter ON record (kind, meter, t);
CREATE INDEX record_by_position ON record (kind, position, t);
CREATE TRIGGER record_no_update BEFORE UPDATE ON record BEGIN
  SELECT RAISE(ABORT, 'a sealed record cannot be changed');
END;
CREATE TRIGGER record_no_delete BEFORE DELETE ON record BEGIN
  SELECT RAISE(ABORT, 'a sealed record cannot be deleted');
END;
CREATE TRIGGER record_in_order BEFORE INSERT ON record
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM record) BEGIN
  SELECT RAISE(ABORT, 'a record can only be the next one');
END;
CREATE VIEW entry AS WITH said AS (
  SELECT kind, json_extract(text, '$.of') AS of, max(seq), position, text FROM record
  WHERE kind IN ('strike', 'move', 'rejudge') GROUP BY kind, json_extract(text, '$.of'))
SELECT e.seq, e.t, json_extract(e.text, '$.job') AS job,
  coalesce(m.position, e.position) AS position,
  json_extract(e.text, '$.quantity') AS quantity,
  json_extract(e.text, '$.condition') AS condition,
  json_extract(e.text, '$.reach') AS reach, e.meter,
  json_extract(e.text, '$.function') AS function,
  json_extract(e.text, '$.value') AS value,
  json_extract(e.text, '$.u') AS u,
  json_extract(e.text, '$.state') AS state,
  json_extract(e.text, '$.shown') AS shown,
  json_extract(coalesce(j.text, e.text), '$.verdict') AS verdict,
  json_extract(coalesce(j.text, e.text), '$.side') AS side,
  json_extract(coalesce(j.text, e.text), '$.reason') AS reason,
  json_extract(coalesce(j.text, e.text), '$.deviation') AS deviation,
  json_extract(coalesce(j.text, e.text), '$.service.verdict') AS service,
  json_extract(e.text, '$.source') AS source,
  json_extract(e.text, '$.settled') AS settled,
  json_extract(s.text, '$.because') AS struck
FROM record AS e
LEFT JOIN said AS m ON m.kind = 'move' AND m.of = e.seq
LEFT JOIN said AS j ON j.kind = 'rejudge' AND j.of = e.seq
LEFT JOIN said AS s ON s.kind = 'strike' AND s.of = e.seq
WHERE e.kind = 'entry';
CREATE VIEW sheet AS SELECT max(seq) AS seq, json_extract(text, '$.job') AS job, position,
  json_extract(text, '$.sheet.kind') AS kind,
  json_extract(text, '$.sheet.nominal') AS nominal,
  json_extract(text, '$.sheet.tolerance') AS tolerance,
  json_extract(text, '$.sheet.service') AS service,
  json_extract(text, '$.sheet.role') AS role,
  json_extract(text, '$.sheet.twin') AS twin,
  json_extract(text, '$.sheet') AS sheet
FROM record WHERE kind = 'position' GROUP BY json_extract(text, '$.job'), position;
CREATE VIEW job AS SELECT r.seq, json_extract(r.text, '$.job') AS job,
  a.since, r.t AS last,
  json_extract(r.text, '$.open') AS open,
  json_extract(r.text, '$.unit') AS unit,
  json_extract(r.text, '$.condition') AS condition,
  json_extract(r.text, '$.reach') AS reach
FROM record AS r JOIN (SELECT max(seq) AS seq, min(t) AS since FROM record
  WHERE kind = 'job' GROUP BY json_extract(text, '$.job')) AS a ON a.seq = r.seq;
CREATE VIEW reading AS SELECT r.seq, v.key AS i, r.t,
  json_extract(r.text, '$.at[' || v.key || ']') / 10000.0 AS seconds,
  r.meter, r.position, json_extract(r.text, '$.function') AS function,
  v.value * json_extract(r.text, '$.digit') AS value
FROM record AS r, json_each(r.text, '$.v') AS v WHERE r.kind = 'trail';
COMMIT;
