/* What the core takes of the C library: a page has none (ISO C99 section 7.21). */
#ifndef STRING_H
#define STRING_H

#include <stddef.h>

void *memcpy(void *to, const void *from, size_t size);
void *memmove(void *to, const void *from, size_t size);
void *memset(void *to, int value, size_t size);
int memcmp(const void *one, const void *other, size_t size);

#endif
