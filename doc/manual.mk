# SPDX-License-Identifier: MIT
# Manual pages and completions, into $(B)/man and $(B)/completions.
#
# A cross-compiled $(B)/manual does not run here: MANUAL=build/manual takes the native one.

MANUAL  ?= $(B)/manual
# The day of the newest entry of the change log: pages do not change with the day of the build.
RELEASE_DAY := $(shell sed -n 's/^\#\# [^ ]* - \([0-9-]*\)$$/\1/p' CHANGELOG.md | head -n 1)
man_pages   := $(patsubst doc/man/%,$(B)/man/%,$(wildcard doc/man/*.[1578]))
completions := $(B)/completions/tally.bash $(B)/completions/_tally

# Who says the version has it from there.
$(patsubst %.c,$(B)/%.o,$(wildcard daemon/main*.c) client/client.c): VERSION

.PHONY: manual
manual: $(man_pages) $(completions)

$(B)/manual: $(patsubst %.c,$(B)/%.o,$(sort $(wildcard doc/manual*.c))) $(B)/libclient.a $(B)/libprotocol.a
	$(call said,ld $@)
	$(Q)$(CC) $(ALL_CFLAGS) $(LDFLAGS) -o $@ $^ $(CLIENT_LIBS) $(LIBS)

$(man_pages): $(B)/man/%: doc/man/% $(MANUAL) VERSION CHANGELOG.md protocol/WIRE.md protocol/SEAL.md \
  protocol/meter/dialect_file.h daemon/settle.h
	@mkdir -p $(@D)
	$(call said,man $@)
	$(Q)$(MANUAL) $< $(VERSION) $(RELEASE_DAY) >$@.new && mv $@.new $@

$(completions): $(B)/completions/%: doc/completions/%
	@mkdir -p $(@D)
	$(Q)cp $< $@
