#include <string.h>

#include <stdint.h>

void *memcpy(void *to, const void *from, size_t size) {
    uint8_t *t = to;
    const uint8_t *f = from;
    while (size-- > 0) {
        *t++ = *f++;
    }
    return to;
}

void *memmove(void *to, const void *from, size_t size) {
    uint8_t *t = to;
    const uint8_t *f = from;
    if (t <= f) {
        return memcpy(to, from, size);
    }
    while (size-- > 0) {
        t[size] = f[size];
    }
    return to;
}

void *memset(void *to, int value, size_t size) {
    uint8_t *t = to;
    while (size-- > 0) {
        *t++ = (uint8_t)value;
    }
    return to;
}

int memcmp(const void *one, const void *other, size_t size) {
    const uint8_t *a = one;
    const uint8_t *b = other;
    for (; size > 0; a++, b++, size--) {
        if (*a != *b) {
            return *a < *b ? -1 : 1;
        }
    }
    return 0;
}
