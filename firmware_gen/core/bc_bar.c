#include "bc_bar.h"

#if BC_CHIP_SENSES

#include "bc_generated.h"
#include "bc_math.h"
#include "bc_table.h"
#include "bellcrank.h"

enum { PIXEL = 256, FROM_END = 1 };

struct bar {
    uint8_t lamp; /* BC_NONE: the strip shows no level */
    uint8_t end;
};

static struct bar bars[BC_STRIPS];

void bc_bars_clear(void) {
    uint8_t n;
    for (n = 0; n < BC_STRIPS; n++) {
        bars[n].lamp = BC_NONE;
    }
}

void bc_bars_add(uint8_t strip) {
    uint8_t lamp = bc_next_u8();
    uint8_t end = bc_next_u8();
    struct bar *bar = &bars[bc_output_place(strip) - BC_LAMPS];
    bar->lamp = bc_output_place(lamp);
    bar->end = end;
}

bool bc_bar_of(uint8_t strip, uint8_t *lamp) {
    *lamp = bars[strip - BC_LAMPS].lamp;
    return *lamp != BC_NONE;
}

/* Where a bar of a length begins, in 1/256 pixel. */
static uint16_t begin_of(uint8_t end, uint8_t pixels, uint16_t length) {
    if (end == 0) {
        return 0;
    }
    if (end == FROM_END) {
        return (uint16_t)(PIXEL * pixels - length);
    }
    return (uint16_t)(PIXEL / 2 * pixels - (length >> 1));
}

void bc_bar_cut(uint8_t strip, uint8_t *bytes, uint8_t pixels, uint16_t level) {
    uint16_t length = (uint16_t)((uint32_t)level * pixels / BC_LEVEL_MAX);
    uint16_t first = begin_of(bars[strip - BC_LAMPS].end, pixels, length);
    uint16_t last = (uint16_t)(first + length);
    uint16_t start = 0; /* of the pixel */
    for (; pixels > 0; pixels--) {
        uint16_t from = first > start ? first : start;
        uint16_t to = last < start + PIXEL ? last : (uint16_t)(start + PIXEL);
        uint16_t share = to > from ? (uint16_t)(to - from) : 0;
        uint8_t left;
        for (left = BC_PRIMARIES; left > 0; left--) {
            *bytes = (uint8_t)((uint32_t)*bytes * share >> 8);
            bytes++;
        }
        start = (uint16_t)(start + PIXEL);
    }
}
BC_ASSERT(a_strip_fits, PIXEL *BC_PIXELS <= 0xFFFF);

#endif
