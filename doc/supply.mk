# SPDX-License-Identifier: MIT
# What a release is made of; and other machines: doc/machines.md.
#
#   make dist                 the release archive, into $(B)/dist
#   make sbom                 what is in the programs, as SPDX: $(B)/sbom.spdx.json
#   make check-reproducible   two builds in two folders are the same to the byte (minutes)
#   make arm64                tallyd and tally for arm64, into build/arm64
#   make check-arm64          test programs of it under qemu-user; memory and start time
#   make check-container      a root of its own with /dev passed through (root, debootstrap)

# The folder of the build stands in no program, and nothing in them goes by the clock.
PREFIX_MAP := -ffile-prefix-map=$(CURDIR)=.
export SOURCE_DATE_EPOCH ?= $(shell date -u -d '$(RELEASE_DAY)' +%s 2>/dev/null || echo 0)

.PHONY: dist sbom check-reproducible arm64 check-arm64 check-container
dist:
	@sh tests/dist.sh $(B)/dist
sbom: $(B)/sbom.spdx.json
$(B)/sbom.spdx.json: tests/sbom.py VERSION $(B)/tallyd $(B)/tally $(if $(DRAW),$(B)/tally-draw)
	$(Q)python3 tests/sbom.py $(B) $(VERSION) $(RELEASE_DAY) >$@.new && mv $@.new $@
check-reproducible:
	@sh tests/reproducible.sh $(B)/reproducible

# ---- arm64 ----

ARM_ROOT := $(CURDIR)/build/arm64/root
ARM_PC   := $(ARM_ROOT)/usr/lib/aarch64-linux-gnu/pkgconfig:$(ARM_ROOT)/usr/share/pkgconfig
ARM_MAKE  = PKG_CONFIG_SYSROOT_DIR=$(ARM_ROOT) PKG_CONFIG_LIBDIR=$(ARM_PC) \
            $(MAKE) --no-print-directory B=build/arm64 CC="aarch64-linux-gnu-gcc --sysroot=$(ARM_ROOT)" \
            AR=aarch64-linux-gnu-ar DRAW= LDFLAGS="-Wl,-rpath-link,$(ARM_ROOT)/usr/lib/aarch64-linux-gnu \
            -Wl,-rpath-link,$(ARM_ROOT)/lib/aarch64-linux-gnu -L$(ARM_ROOT)/usr/lib/aarch64-linux-gnu" MANUAL=build/manual
# Those that need no second program, no pty and no clock of the machine.
ARM_TESTS := ini frame stream scpi columns pattern quantity decimal marking verdict uncertainty record \
             seal sheet recording config log command
arm64: deps
	@sh tests/deps.sh gcc-aarch64-linux-gnu libc6-dev-arm64-cross qemu-user-static
	@sh tests/arm64/sysroot.sh $(ARM_ROOT)
	@$(MAKE) --no-print-directory B=build build/manual
	@$(ARM_MAKE) build/arm64/tallyd build/arm64/tally build/arm64/demo/libadapters.so
check-arm64: arm64
	@$(ARM_MAKE) $(patsubst tests/%.c,build/arm64/tests/%,$(foreach t,$(ARM_TESTS),$(wildcard tests/test_$(t).c)))
	@sh tests/arm64/check.sh build/arm64 $(ARM_TESTS)

# ---- a container ----

check-container: all
	@sh tests/container/check.sh $(B)
	@sh tests/container/podman.sh $(B)
