-- A log of format 1, kept for tests/test_log_versions.c: with the tables of runs
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
INSERT INTO record VALUES(1,'{"seq":1,"t":"2000-01-01T00:00:00.000000Z","kind":"log","format":"tally-record-1","identity":"5a8ac60d67f65c97fe335a357239be91","bench":"tests","version":"0.1.0","key":null}',X'5baffbfbeed9c8fe16291be94de1ed3283cfe70fc44f45bc0fc987745e87d624');
INSERT INTO record VALUES(2,'{"seq":2,"t":"2000-01-01T00:00:00.000000Z","kind":"clock","boot":"replay","cause":"start","version":"0.1.0"}',X'6dbddd2fb1d06d6ddee04cd146a37735f1b3706f5554ebcae7b0e565a8ad6d3d');
INSERT INTO record VALUES(3,'{"seq":3,"t":"2000-01-01T00:00:00.000000Z","kind":"meter","meter":"red","dialect":"ascii-unit","state":"configured","identity":null,"accuracy":"ohm 0.5% + 2; farad 1% + 3","stamp_u":0.00689556}',X'00787448190f21266ca7be04f1284b9731d2fe96407551e994df9d0a2781c135');
INSERT INTO record VALUES(4,'{"seq":4,"t":"2000-01-01T00:00:00.000000Z","kind":"meter","meter":"bench","dialect":"scpi","state":"configured","identity":null,"accuracy":"ohm 0.02% + 3","stamp_u":0.00689556}',X'06b2984c3099f430662ee8ec956e7d4a98648fb233ddfdde9f56d87dd57992a8');
INSERT INTO record VALUES(5,'{"seq":5,"t":"2000-01-01T00:00:00.000000Z","kind":"job","job":"job","state":"started","open":true,"unit":"cold","condition":"found","reach":"in-circuit"}',X'8c95a73845422086d4effb8824a1376281a6680293deb976887bf59ed0477889');
INSERT INTO record VALUES(6,'{"seq":6,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"R1","change":"loaded","sheet":{"written":{"position":"R1","kind":"carbon-composition","nominal":"100k","tolerance":"10%","role":"anode load","twin":"R2"},"kind":"carbon-composition","function":"ohm","nominal":100000,"limits":[90000,110000],"service":null,"role":"anode load","twin":"R2"}}',X'bf01c70bf9946cf817c3c3cd238fffba1b688faa1a790c99a821f4c85ead93cd');
INSERT INTO record VALUES(7,'{"seq":7,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"R2","change":"loaded","sheet":{"written":{"position":"R2","kind":"carbon-composition","nominal":"100k","tolerance":"10%","role":"anode load","twin":"R1"},"kind":"carbon-composition","function":"ohm","nominal":100000,"limits":[90000,110000],"service":null,"role":"anode load","twin":"R1"}}',X'6e5616195de892d183a18a9b476e57b1161c2f18bed5e2064d219de9fa5a0385');
INSERT INTO record VALUES(8,'{"seq":8,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"R3","change":"loaded","sheet":{"written":{"position":"R3","kind":"metal-film","nominal":"47k","tolerance":"1%","role":"grid leak"},"kind":"metal-film","function":"ohm","nominal":47000,"limits":[46530,47470],"service":null,"role":"grid leak"}}',X'dcbbaf9f75cb40def86eb46448646b7d91ac0de673f2c3297dc50263d4fc0715');
INSERT INTO record VALUES(9,'{"seq":9,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"C1","change":"loaded","sheet":{"written":{"position":"C1","kind":"paper","nominal":"0.1 uF","tolerance":"10%","role":"coupling"},"kind":"paper","function":"farad","nominal":1e-07,"limits":[9e-08,1.1e-07],"service":null,"role":"coupling"}}',X'128412d962c408a619deeca7ef9f1c75dec5068011ed2d4fff1b93bf2273c61b');
INSERT INTO record VALUES(10,'{"seq":10,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"C2","change":"loaded","sheet":{"written":{"position":"C2","kind":"paper","nominal":"0.1 uF","tolerance":"10%","role":"coupling"},"kind":"paper","function":"farad","nominal":1e-07,"limits":[9e-08,1.1e-07],"service":null,"role":"coupling"}}',X'02d070d04deb97260cce157cb18e1a352cc6f69d2fc81675258b640a9d93747b');
INSERT INTO record VALUES(11,'{"seq":11,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"C3","change":"loaded","sheet":{"written":{"position":"C3","kind":"film","nominal":"0.33 uF","tolerance":"10%","role":"coupling"},"kind":"film","function":"farad","nominal":3.3e-07,"limits":[2.97e-07,3.63e-07],"service":null,"role":"coupling"}}',X'79414c254ebbd5a6ead19805c1f3dd0bfe81675b3d639b8647491fe9be01f5ec');
INSERT INTO record VALUES(12,'{"seq":12,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"HT1","change":"loaded","sheet":{"written":{"position":"HT1","kind":"rail","nominal":"285 V","tolerance":"5%"},"kind":"rail","function":"volt-dc","nominal":285,"limits":[270.75,299.25],"service":null}}',X'd446ac6348622f2826f5813326501453d9771fc0fa7c62ad91af3af225ea33bf');
INSERT INTO record VALUES(13,'{"seq":13,"t":"2000-01-01T00:00:00.000000Z","kind":"position","job":"job","position":"BIAS","change":"loaded","sheet":{"written":{"position":"BIAS","kind":"rail","nominal":"-35 V","tolerance":"+-2 V"},"kind":"rail","function":"volt-dc","nominal":-35,"limits":[-37,-33],"service":null}}',X'bf13a2c73abb4277abd302d37597f523e03706de108cb5466dd2364638a08e12');
INSERT INTO record VALUES(14,'{"seq":14,"t":"2000-01-01T00:00:00.000000Z","kind":"sheet","job":"job","file":"tests/recordings/sheet.csv","count":8}',X'af44c99c29777829d351e247340299d5a399ab15725494dc927bcd8b911c85b3');
INSERT INTO record VALUES(15,'{"seq":15,"t":"2000-01-01T00:00:00.000000Z","kind":"job","job":"job","state":"set","open":true,"unit":"cold","condition":"found","reach":"lifted"}',X'ae9ca002d65c31f38066f7856d2d417e36c0a172a59a58bf16bb6285375dafee');
INSERT INTO record VALUES(16,'{"seq":16,"t":"2000-01-01T00:00:00.000000Z","kind":"trail","job":"job","meter":"red","function":"ohm","position":"R1","digit":100,"at":[0,2500,5000,7500,10000,12500,15000,17500,20000,22500],"v":[null,null,null,null,null,null,1002,1003,1001,1002],"state":[[0,"overload"],[1,"overload"],[2,"overload"],[3,"overload"],[4,"overload"],[5,"overload"]],"low":1001,"high":1003,"first":1002,"last":1002,"n":10}',X'0cdd96e93bb4785333d7465e79d3a6ea2f8129fba2f3f327da4d4c7cb386cabe');
INSERT INTO record VALUES(17,'{"seq":17,"t":"2000-01-01T00:00:02.250000Z","kind":"entry","job":"job","position":"R1","quantity":"value","condition":"found","reach":"lifted","meter":"red","function":"ohm","value":100200,"digit":100,"prefix":3,"u":406.776,"n":4,"settled":true,"source":"meter","verdict":"within","side":"high","reason":null,"deviation":0.002,"probability":1,"limits":[90000,110000],"service":{"verdict":"within","side":"high","reason":null,"deviation":0.002,"probability":1,"limits":[80000,120000],"assumed":true},"shown":"100.2 kohm","frames":["OL MOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","+100.2 kOhm","+100.3 kOhm","+100.1 kOhm","+100.2 kOhm"],"trail":[[16,6,9]]}',X'3e33a165416102f6bc5fa41ac75a10c8a515c5605db2646108def6916293b1a2');
INSERT INTO record VALUES(18,'{"seq":18,"t":"2000-01-01T00:00:02.500000Z","kind":"trail","job":"job","meter":"red","function":"ohm","position":"R1","digit":100,"at":[0,2500,5000,7500,10000,12500,15000,17500,20000,22500,25000,27500,30000,32500,35000,37500,40000,42500,45000,47500,50000,52500,55000,57500,60000,62500,65000,67500],"v":[1001,1002,1002,1002,null,null,null,null,null,null,1003,1003,1002,1003,1002,1003,1003,1004,null,null,null,null,null,null,1003,1004,1004,1004],"state":[[4,"overload"],[5,"overload"],[6,"overload"],[7,"overload"],[8,"overload"],[9,"overload"],[18,"overload"],[19,"overload"],[20,"overload"],[21,"overload"],[22,"overload"],[23,"overload"]],"low":1001,"high":1004,"first":1001,"last":1004,"n":28}',X'36a1e7751de649fb0d9a639b0dc8e688cde816beeb680746255f21b273fcd912');
INSERT INTO record VALUES(19,'{"seq":19,"t":"2000-01-01T00:00:09.250000Z","kind":"entry","job":"job","position":"R1","quantity":"value","condition":"found","reach":"lifted","meter":"red","function":"ohm","value":100400,"digit":100,"prefix":3,"u":406.327,"n":4,"settled":true,"source":"meter","verdict":"within","side":"high","reason":null,"deviation":0.004,"probability":1,"limits":[90000,110000],"service":{"verdict":"within","side":"high","reason":null,"deviation":0.004,"probability":1,"limits":[80000,120000],"assumed":true},"shown":"100.4 kohm","frames":["+100.2 kOhm","+100.3 kOhm","+100.2 kOhm","+100.3 kOhm","+100.3 kOhm","+100.4 kOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","+100.3 kOhm","+100.4 kOhm","+100.4 kOhm","+100.4 kOhm"],"trail":[[18,24,27]]}',X'5768e38392be1540466faa5137485d9e4c700fb31fd86c8f35c99d08fa49bc3d');
INSERT INTO record VALUES(20,'{"seq":20,"t":"2000-01-01T00:00:09.500000Z","kind":"trail","job":"job","meter":"red","function":"ohm","position":"R1","digit":100,"at":[0,2500,5000,7500,10000,12500,15000,17500,20000,22500,25000,27500,30000,32500],"v":[1005,1003,1004,1003,null,null,null,null,null,null,1004,1004,1006,1004],"state":[[4,"overload"],[5,"overload"],[6,"overload"],[7,"overload"],[8,"overload"],[9,"overload"]],"low":1003,"high":1006,"first":1005,"last":1004,"n":14}',X'30b1a782ba01a58e8a34ca783a05d14b80ef3c6423aecc1b36309e55f15c8f41');
INSERT INTO record VALUES(21,'{"seq":21,"t":"2000-01-01T00:00:12.750000Z","kind":"entry","job":"job","position":"R1","quantity":"value","condition":"found","reach":"lifted","meter":"red","function":"ohm","value":100400,"digit":100,"prefix":3,"u":408.372,"n":4,"settled":true,"source":"meter","verdict":"within","side":"high","reason":null,"deviation":0.004,"probability":1,"limits":[90000,110000],"service":{"verdict":"within","side":"high","reason":null,"deviation":0.004,"probability":1,"limits":[80000,120000],"assumed":true},"shown":"100.4 kohm","frames":["+100.4 kOhm","+100.4 kOhm","+100.5 kOhm","+100.3 kOhm","+100.4 kOhm","+100.3 kOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","OL MOhm","+100.4 kOhm","+100.4 kOhm","+100.6 kOhm","+100.4 kOhm"],"trail":[[20,10,13]]}',X'a73e34ede528beaa9f8c3c8f12ea10120ebceb074efea0a83d11a2999a3317f5');
INSERT INTO record VALUES(22,'{"seq":22,"t":"2000-01-01T00:00:13.000000Z","kind":"trail","job":"job","meter":"red","function":"ohm","position":"R1","digit":100,"at":[0,2500,5000,7500,10000,12500,15000,17500,20000,22500],"v":[1005,1005,1005,1004,null,null,null,null,null,null],"state":[[4,"overload"],[5,"overload"],[6,"overload"],[7,"overload"],[8,"overload"],[9,"overload"]],"low":1004,"high":1005,"first":1005,"last":1004,"n":10}',X'2aad9ab29a6a34cddb6af4ce0360becf39e5e129de0f7165f71893002ad0ca60');
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
INSERT INTO run VALUES('red','ohm',16,946684800000000,946684802250000,NULL,'R1',100100.0,100300.0,100200.0,100200.0,10);
INSERT INTO run VALUES('red','ohm',18,946684802500000,946684809250000,250000,'R1',100100.0,100400.0,100100.0,100400.0,28);
INSERT INTO run VALUES('red','ohm',20,946684809500000,946684812750000,250000,'R1',100300.0,100600.0,100500.0,100400.0,14);
INSERT INTO run VALUES('red','ohm',22,946684813000000,946684815250000,250000,'R1',100400.0,100500.0,100500.0,100400.0,10);
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
