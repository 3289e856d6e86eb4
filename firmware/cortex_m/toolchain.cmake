# Bare Cortex-M3 with Debian's arm-none-eabi packages. No heap, no exceptions, no
# system calls: nothing of the kind is defined, so whatever needs it fails to link.
set(CMAKE_SYSTEM_NAME Generic)
set(CMAKE_SYSTEM_PROCESSOR cortex-m3)

set(CMAKE_C_COMPILER arm-none-eabi-gcc)
set(CMAKE_CXX_COMPILER arm-none-eabi-g++)
set(CMAKE_ASM_COMPILER arm-none-eabi-gcc)
# Archives of objects that the linker optimises: the plain ar has no index of them.
set(CMAKE_AR arm-none-eabi-gcc-ar)
set(CMAKE_RANLIB arm-none-eabi-gcc-ranlib)
# A trial program would not link without a port's start-up code.
set(CMAKE_TRY_COMPILE_TARGET_TYPE STATIC_LIBRARY)

set(machine "-mcpu=cortex-m3 -mthumb")
# The whole image is optimised at the link, in one piece: 6 % less flash, and the
# deepest chain of calls can be read off the code that is shipped.
set(whole "-flto -flto-partition=one")
set(CMAKE_CXX_FLAGS_INIT
    "${machine} ${whole} -g -fno-exceptions -fno-rtti -fno-threadsafe-statics -fno-use-cxa-atexit \
-ffunction-sections -fdata-sections -fstack-usage --param=min-pagesize=0")
set(CMAKE_C_FLAGS_INIT "${machine} ${whole} -g -ffunction-sections -fdata-sections")
set(CMAKE_ASM_FLAGS_INIT "${machine} -g")
set(CMAKE_CXX_FLAGS_MINSIZEREL_INIT "-Os -DNDEBUG")
# newlib-nano; -nostartfiles: the port brings its own; no nosys.specs, so there is
# no _sbrk to fall back on.
set(CMAKE_EXE_LINKER_FLAGS_INIT
    "${machine} --specs=nano.specs -nostartfiles -Wl,--gc-sections -Wl,--print-memory-usage")

set(CMAKE_FIND_ROOT_PATH_MODE_PROGRAM NEVER)
set(CMAKE_FIND_ROOT_PATH_MODE_LIBRARY ONLY)
set(CMAKE_FIND_ROOT_PATH_MODE_INCLUDE ONLY)
set(CMAKE_FIND_ROOT_PATH_MODE_PACKAGE ONLY)
