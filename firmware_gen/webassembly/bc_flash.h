/* Constant lists in a page: they lie where all data does. */
#ifndef BC_FLASH_H
#define BC_FLASH_H

#include <string.h>

#define BC_FLASH
#define bc_flash_u8(address) (*(address))
#define bc_flash_u16(address) (*(address))
#define bc_flash_copy(to, from, size) memcpy(to, from, size)

#endif
