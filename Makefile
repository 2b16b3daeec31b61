# Splittally: the Makefile of everything.
#
#   make          build tallyd, tally and the demo's programs into build/
#   make deps     install what is missing (Debian and kin; names it elsewhere)
#   make demo     the demo: three meters, 24 positions, under a minute
#   make check    every test; ends with the counts
#   make bench    ratios, ours against a plain loop over the same library
#   make fuzz     each fuzz entry point for FUZZ_SECONDS (10) seconds
#   make install  into $(DESTDIR)$(PREFIX)
#   SAN=1         build with ASan and UBSan, into build/san/
#   CC=clang      works too

PREFIX  ?= /usr/local
SAN     ?= 0
ifeq ($(SAN),1)
B       ?= build/san
SANFLAGS = -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer
else
B       ?= build
SANFLAGS =
endif
PKGS     = libuv libserialport sqlite3 jansson libcrypto
CFLAGS  ?= -O2 -g
WARN     = -Wall -Wextra -Wconversion -Wshadow -Wstrict-prototypes -Wmissing-prototypes \
           -Wvla -Wwrite-strings -Werror
ALL_CFLAGS = -std=c11 -D_GNU_SOURCE -I. -ffp-contract=off $(WARN) $(SANFLAGS) $(CFLAGS) \
             $(shell pkg-config --cflags $(PKGS) 2>/dev/null)
LIBS     = $(shell pkg-config --libs $(PKGS) 2>/dev/null) -lcsv -lpthread -lm

protocol_objs := $(patsubst %.c,$(B)/%.o,$(wildcard protocol/*/*.c))
daemon_objs   := $(patsubst %.c,$(B)/%.o,$(filter-out daemon/main.c,$(wildcard daemon/*.c)))
client_objs   := $(patsubst %.c,$(B)/%.o,$(filter-out client/main.c,$(wildcard client/*.c)))
test_progs    := $(patsubst tests/%.c,$(B)/tests/%,$(wildcard tests/test_*.c))

.PHONY: all deps tests
all: $(B)/tallyd $(B)/tally

$(B)/%.o: %.c
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) -MMD -MP -c -o $@ $<

$(B)/libprotocol.a: $(protocol_objs)
	rm -f $@ && $(AR) rcs $@ $^
$(B)/libdaemon.a: $(daemon_objs)
	rm -f $@ && $(AR) rcs $@ $^
$(B)/libclient.a: $(client_objs)
	rm -f $@ && $(AR) rcs $@ $^

$(B)/tallyd: $(B)/daemon/main.o $(B)/libdaemon.a $(B)/libprotocol.a
	$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)
$(B)/tally: $(B)/client/main.o $(B)/libclient.a $(B)/libprotocol.a
	$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(LIBS)

# Each tests/test_NAME.c is one cmocka program over the libraries.
$(B)/tests/test_%: $(B)/tests/test_%.o $(B)/libdaemon.a $(B)/libclient.a $(B)/libprotocol.a
	$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ -lcmocka -lgsl -lgslcblas $(LIBS)
tests: $(test_progs)

-include $(shell find $(B) -name '*.d' 2>/dev/null)
