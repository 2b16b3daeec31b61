# Splittally: the Makefile of everything.
#
#   make          build tallyd, tally and the demo's programs into build/
#   make deps     install what is missing (apt-get; elsewhere it names the packages)
#   make demo     the demo: three meters, 24 positions, under a minute
#   make check    every test; ends with the counts
#   make bench    ratios, ours against a plain loop over the same library
#   make check-plug   adapters plugged in and out of a virtual machine (minutes; QEMU, Debian)
#   make check-pedal, check-sound   foot switches and sound cards, the same way (minutes each)
#   make check-demo   the demo with ten other seeds, each part once and right (ten minutes)
#   make torture  the log under fire for TORTURE_SECONDS (900): failing calls, power cuts, kills, damage
#   make fuzz     every fuzz entry point for FUZZ_SECONDS (10) each
#   make install  into $(DESTDIR)$(PREFIX); make uninstall takes it back, but no log
#   make deb      a Debian package, into build/deb
#   make check-package   lintian, and its life in a fresh root (debootstrap; minutes, root)
#   make dist, sbom, check-reproducible, arm64, check-arm64, check-container: doc/supply.mk
#
#   SAN=1         with ASan and UBSan, into build/san/
#   CC=clang      works too

PREFIX ?= /usr/local
# The version of everything: programs, manual pages, packages, archives.
VERSION := $(shell cat VERSION)
SAN    ?= 0
ifeq ($(SAN),1)
B        ?= build/san
SANFLAGS := -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer \
            -Wno-error # gcc warns of what its own instrumentation added
else
B        ?= build
SANFLAGS :=
endif
PKGS   := libuv libserialport sqlite3 jansson libcrypto libpcre2-8
# Hot plug is quicker with it, and works without.
UDEV   := $(shell pkg-config --exists libudev 2>/dev/null && echo libudev)
PKGS   += $(UDEV)
# What tally does without where it is missing, and says so: the foot switch, sound.
# PNG and PDF of pictures, by a program of its own; without them there is SVG.
DRAW   := $(shell pkg-config --exists librsvg-2.0 cairo-pdf pangocairo 2>/dev/null && \
            echo librsvg-2.0 cairo-pdf pangocairo)
HAVE   := $(foreach p,libevdev alsa,$(shell pkg-config --exists $(p) 2>/dev/null && echo $(p)))
# What a fresh Debian 12 with git and make lacks.  python3 is for the independent
# check of the seal, gsl, cmocka and tmux for the tests alone, umockdev and udev for the rules, libfaketime
# for a machine that comes up with another clock.
DEBIAN := gcc libc6-dev pkg-config libuv1-dev libserialport-dev libsqlite3-dev libjansson-dev \
          libssl-dev libcsv-dev libpcre2-dev libudev-dev libevdev-dev libasound2-dev \
          libncurses-dev librsvg2-dev libpango1.0-dev libcmocka-dev libgsl-dev umockdev udev libfaketime \
          python3 python3-serial tmux
FUZZ_DEBIAN := clang libclang-rt-14-dev

CFLAGS ?= -O2 -g
WARN   := -Wall -Wextra -Wconversion -Wshadow -Wstrict-prototypes -Wmissing-prototypes \
          -Wvla -Wwrite-strings -Werror
# No fused multiply-add: a verdict may not depend on the compiler's taste.
ALL_CFLAGS = -std=c11 -D_GNU_SOURCE -DTALLY_VERSION='"$(VERSION)"' -I. -ffp-contract=off $(PREFIX_MAP) $(WARN) $(SANFLAGS) $(CFLAGS) \
             $(if $(UDEV),-DTALLY_UDEV) \
             $(if $(filter libevdev,$(HAVE)),-DHAVE_LIBEVDEV) $(if $(filter alsa,$(HAVE)),-DHAVE_ALSA) \
             $(PKG_CFLAGS)
# Asked once, not once for each of six hundred commands.
PKG_CFLAGS  := $(shell pkg-config --cflags $(PKGS) $(HAVE) 2>/dev/null)
LIBS        := $(shell pkg-config --libs $(PKGS) 2>/dev/null) -lcsv -lpthread -lm
# What the client alone is linked to: the daemon stays small.
CLIENT_LIBS := $(shell pkg-config --libs ncursesw $(HAVE) 2>/dev/null)

# Sorted: wildcard goes by the collation of the user's language, and so would the programs.
protocol_objs := $(patsubst %.c,$(B)/%.o,$(sort $(wildcard protocol/*/*.c)))
daemon_objs   := $(patsubst %.c,$(B)/%.o,$(filter-out daemon/main.c,$(sort $(wildcard daemon/*.c))))
client_objs   := $(patsubst %.c,$(B)/%.o,$(filter-out client/main.c client/draw%.c,$(sort $(wildcard client/*.c))))
test_progs    := $(patsubst tests/%.c,$(B)/tests/%,$(wildcard tests/test_*.c))
corpus_progs  := $(patsubst tests/fuzz_%.c,$(B)/tests/corpus_%,$(wildcard tests/fuzz_*.c))
bench_progs   := $(patsubst tests/%.c,$(B)/tests/%,$(wildcard tests/bench_*.c))

# V=1 shows the commands whole.
V ?= 0
ifeq ($(V),0)
Q    := @
said  = @echo "  $(1)"
else
Q    :=
said  = @:
endif

.PHONY: all deps demo check check-run bench bench-run fuzz install tests clean
all: $(B)/tallyd $(B)/tally $(if $(DRAW),$(B)/tally-draw) $(B)/demo/meters $(B)/demo/libadapters.so manual

$(B)/%.o: %.c
	@mkdir -p $(@D)
	$(call said,cc $<)
	$(Q)$(CC) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

$(B)/libprotocol.a: $(protocol_objs)
$(B)/libdaemon.a: $(daemon_objs)
$(B)/libclient.a: $(client_objs)
$(B)/lib%.a:
	$(Q)rm -f $@ && $(AR) rcs $@ $^

$(B)/tallyd: $(B)/daemon/main.o $(B)/libdaemon.a $(B)/libprotocol.a
	$(call said,ld $@)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)
$(B)/tally: $(B)/client/main.o $(B)/libclient.a $(B)/libprotocol.a
	$(call said,ld $@)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(CLIENT_LIBS) $(LIBS)

$(B)/tally-draw: $(sort $(wildcard client/draw*.c client/draw*.h))
	@mkdir -p $(@D)
	$(call said,cc $@)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) $(shell pkg-config --cflags $(DRAW)) -o $@ $(filter %.c,$^) \
	  $(shell pkg-config --libs $(DRAW))

# The demo shares nothing with the daemon but the bytes on the line.
$(B)/demo/meters: $(filter-out demo/adapters%,$(sort $(wildcard demo/*.c demo/*.h)))
	@mkdir -p $(@D)
	$(call said,cc $@)
	$(Q)$(CC) $(ALL_CFLAGS) -o $@ $(filter %.c,$^) -lm
# Preloaded into whatever runs below it, so without the sanitizers.
$(B)/demo/libadapters.so: $(sort $(wildcard demo/adapters_*.c demo/adapters_*.h))
	@mkdir -p $(@D)
	$(call said,cc $@)
	$(Q)$(CC) $(filter-out -fsanitize% -fno-sanitize%,$(ALL_CFLAGS)) -fPIC -shared -o $@ $(filter %.c,$^) -ldl

# Each tests/test_NAME.c is one cmocka program over the libraries; bench_NAME.c is
# one table of `make bench`.
$(B)/tests/%: $(B)/tests/%.o $(B)/libdaemon.a $(B)/libclient.a $(B)/libprotocol.a
	$(call said,ld $@)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ -lcmocka -lgsl -lgslcblas $(CLIENT_LIBS) $(LIBS)
# The kept corpus of each fuzz entry point, under the normal compiler.
$(B)/tests/corpus_%: $(B)/tests/corpus_main.o $(B)/tests/fuzz_%.o $(B)/libdaemon.a $(B)/libprotocol.a
	$(call said,ld $@)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)
# The port's tests stand on pseudo-terminals: the shim is linked in.
$(B)/tests/test_port $(B)/tests/test_port_plug: $(patsubst %.c,$(B)/%.o,$(wildcard demo/adapters_*.c))
# The second corpus of settling.
$(B)/tests/score_touches $(B)/tests/test_touches: $(B)/tests/touches.o $(B)/tests/touches_kinds.o \
  $(B)/tests/touches_score.o
.SECONDARY:
tests: all $(test_progs) $(corpus_progs)

include doc/manual.mk
include doc/supply.mk

# ---- what is missing ----

# On a machine without the packages pkg-config knows no flags yet, so everything
# that needs them runs in a second make.
deps:
	@sh tests/deps.sh $(DEBIAN)

demo: deps
	@$(MAKE) --no-print-directory all
	@TALLY_BUILD=$(B) sh demo/run

check: deps
	@$(MAKE) --no-print-directory check-run

check-run: tests
	@sh tests/run.sh $(B) $(sort $(test_progs)) $(sort $(corpus_progs)) $(wildcard tests/check_*.py tests/check_*.sh)

# Emulated USB-serial adapters, the real kernel driver and udev: see tests/plug/check.py.
.PHONY: check-demo
check-demo: all
	@TALLY_BUILD=$(B) python3 tests/demo_seeds.py 10

.PHONY: check-plug
check-plug: all $(B)/tests/plug/witness
	@TALLY_BUILD=$(B) python3 -B tests/plug/check.py
# The same, with keyboards as foot switches and with sound cards.
.PHONY: check-pedal check-sound
check-pedal check-sound: all $(addprefix $(B)/tests/plug/,witness foot hush)
	@TALLY_BUILD=$(B) python3 -B tests/plug/$(subst -,_,$@).py
$(B)/tests/plug/hush: LDLIBS := -lasound
$(B)/tests/plug/witness $(B)/tests/plug/foot $(B)/tests/plug/hush: $(B)/tests/plug/%: tests/plug/%.c
	@mkdir -p $(@D)
	$(call said,cc $@)
	$(Q)$(CC) $(ALL_CFLAGS) -MMD -MP -o $@ $< $(LDLIBS)

# Preloaded into the daemon by bench_idle and test_daemon_clocks, so without the sanitizers.
tests: $(B)/tests/libclocks.so
$(B)/tests/libsyncs.so: tests/count_syncs.c
$(B)/tests/libclocks.so: tests/move_clocks.c
$(B)/tests/libsyncs.so $(B)/tests/libclocks.so:
	@mkdir -p $(@D)
	$(call said,cc $@)
	$(Q)$(CC) $(filter-out -fsanitize% -fno-sanitize%,$(ALL_CFLAGS)) -MMD -MP -fPIC -shared -o $@ $<

bench: deps
	@$(MAKE) --no-print-directory bench-run

bench-run: all $(bench_progs) $(B)/tests/libsyncs.so
	@for p in $(sort $(bench_progs)); do $$p || exit 1; echo; done
	@$(B)/tests/bench_many 64 50 3 100

# ---- the log under fire: tests/torture.sh says what is done ----

TORTURE_SECONDS ?= 900
torture_progs := $(patsubst %,$(B)/tests/test_%,log_torture log_kill log_damage log_fault \
                 log_versions restore daemon_harm)
.PHONY: torture torture-run
torture: deps
	@$(MAKE) --no-print-directory torture-run
torture-run: all $(torture_progs)
	@sh tests/torture.sh $(B) $(TORTURE_SECONDS)

# ---- fuzzing: tests/fuzz_NAME.c, with its corpus in tests/corpus/NAME ----

FUZZ_SECONDS ?= 10
fuzz_names := $(patsubst tests/fuzz_%.c,%,$(wildcard tests/fuzz_*.c))
fuzz:
	@sh tests/deps.sh $(DEBIAN) $(FUZZ_DEBIAN)
	@$(MAKE) --no-print-directory CC=clang B=build/fuzz \
	  SANFLAGS="-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined" \
	  fuzz-run

.PHONY: fuzz-run
fuzz-run: $(patsubst %,$(B)/fuzz_%,$(fuzz_names))
	@sh tests/fuzz.sh $(B) $(FUZZ_SECONDS) $(fuzz_names)
$(B)/fuzz_%: $(B)/tests/fuzz_%.o $(B)/libdaemon.a $(B)/libprotocol.a
	$(call said,ld $@)
	$(Q)$(CC) $(ALL_CFLAGS) -fsanitize=fuzzer -o $@ $^ $(LIBS)

# ---- installing: every file once, as MODE|FROM|TO ----

SYSCONFDIR ?= /etc
LIBDIR     ?= $(PREFIX)/lib
UNITDIR    ?= $(LIBDIR)/systemd/system
UDEVDIR    ?= $(LIBDIR)/udev/rules.d
DOCDIR     ?= $(PREFIX)/share/doc/splittally
BASHDIR    ?= $(PREFIX)/share/bash-completion/completions
ZSHDIR     ?= $(PREFIX)/share/zsh/site-functions
install_files = 755|$(B)/tallyd|$(PREFIX)/bin/tallyd 755|$(B)/tally|$(PREFIX)/bin/tally \
  $(if $(DRAW),755|$(B)/tally-draw|$(PREFIX)/bin/tally-draw) \
  644|udev/60-tally.rules|$(UDEVDIR)/60-tally.rules \
  644|udev/70-tally-pedal.rules|$(DOCDIR)/70-tally-pedal.rules \
  644|systemd/tallyd.service|$(UNITDIR)/tallyd.service \
  644|systemd/tallyd.socket|$(UNITDIR)/tallyd.socket \
  644|systemd/tallyd-viewers.socket|$(UNITDIR)/tallyd-viewers.socket \
  644|systemd/tally.sysusers|$(LIBDIR)/sysusers.d/tally.conf \
  644|systemd/tally.tmpfiles|$(LIBDIR)/tmpfiles.d/tally.conf \
  644|systemd/tally.ini|$(DOCDIR)/tally.ini 644|demo/bench.conf|$(DOCDIR)/bench.conf \
  644|README.md|$(DOCDIR)/README.md 644|LICENSE|$(DOCDIR)/LICENSE \
  644|protocol/SEAL.md|$(DOCDIR)/SEAL.md 644|protocol/WIRE.md|$(DOCDIR)/WIRE.md \
  $(foreach d,$(sort $(wildcard protocol/meter/dialects/*.ini)),644|$(d)|$(DOCDIR)/dialects/$(notdir $(d))) \
  $(foreach m,$(shell ls $(B)/man/*.[1578] 2>/dev/null),\
    644|$(m)|$(PREFIX)/share/man/man$(patsubst .%,%,$(suffix $(m)))/$(notdir $(m))) \
  $(if $(shell ls $(B)/completions/tally.bash 2>/dev/null),644|$(B)/completions/tally.bash|$(BASHDIR)/tally) \
  $(if $(shell ls $(B)/completions/_tally 2>/dev/null),644|$(B)/completions/_tally|$(ZSHDIR)/_tally)
each_file = for f in $(foreach f,$(install_files),'$(f)'); do \
  mode=$${f%%|*}; rest=$${f\#*|}; from=$${rest%%|*}; to='$(DESTDIR)'$${rest\#*|};

# The configuration is the bench's: one that is there stays as it is.
.PHONY: uninstall deb check-package
install: all
	@$(each_file) echo "  install $$to"; install -D -m $$mode "$$from" "$$to" || exit 1; done
	@sed -i 's|/usr/bin/|$(PREFIX)/bin/|' '$(DESTDIR)$(UNITDIR)/tallyd.service'
	@test -e '$(DESTDIR)$(SYSCONFDIR)/tally.ini' || \
	  install -D -m 644 systemd/tally.ini '$(DESTDIR)$(SYSCONFDIR)/tally.ini'
	@install -d -m 755 '$(DESTDIR)$(SYSCONFDIR)/tally/dialects'
	@test -n '$(DESTDIR)' || echo "next: systemd-sysusers && systemd-tmpfiles --create && systemctl" \
	  "daemon-reload && udevadm control --reload && systemctl enable --now tallyd.socket tallyd"

uninstall:
	@$(each_file) echo "  remove $$to"; rm -f "$$to" || exit 1; done
	@rmdir '$(DESTDIR)$(DOCDIR)/dialects' '$(DESTDIR)$(DOCDIR)' 2>/dev/null || true
	@cmp -s systemd/tally.ini '$(DESTDIR)$(SYSCONFDIR)/tally.ini' && rm -f '$(DESTDIR)$(SYSCONFDIR)/tally.ini'; \
	rmdir '$(DESTDIR)$(SYSCONFDIR)/tally/dialects' '$(DESTDIR)$(SYSCONFDIR)/tally' 2>/dev/null; true
	@# Folders that the machine has anyway are its own, empty or not.
	@case '$(DESTDIR)$(PREFIX)' in /usr | /usr/local) ;; *) test ! -d '$(DESTDIR)$(PREFIX)' || \
	  find '$(DESTDIR)$(PREFIX)' -depth -type d -empty -delete ;; esac
	@echo "what stays: a configuration $(SYSCONFDIR)/tally.ini that was changed, dialects of yours in" \
	  "$(SYSCONFDIR)/tally, and the logs with their keys in /var/lib/tally"

# A Debian package into $(B)/deb, from a copy of the sources; then lintian and a life of the
# package in a fresh root: tests/package/.
deb:
	@sh tests/package/build.sh $(B)/deb
check-package: deb
	@python3 tests/package/check.py $(B)/deb

clean:
	rm -rf build

# Those of this build alone: packages, other roots and builds may lie below it.
-include $(shell find $(B) \( -name package -o -name root -o -name reproducible -o -name container \) -prune -o \
  -name '*.d' -type f -print 2>/dev/null)
