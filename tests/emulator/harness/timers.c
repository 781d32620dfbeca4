/*
 * The lamps' timers in phase correct PWM (data sheet 15.7.4, 18.7.4): a period of 510 steps, the
 * compare registers taken over at the top, the overflow interrupt at the bottom; those of 16 bits
 * in the mode that counts alike, with the byte between a write of a high and of a low byte. Timer 1
 * in normal mode (16.9.1), counting every cycle.
 */
#include "harness.h"

#include <string.h>

enum { TIFR0 = 0x35, TIFR1 = 0x36, TIMSK0 = 0x6E, TIMSK1 = 0x6F, GTCCR = 0x43, TSM = 0x80 };
enum {
    TCCR1A = 0x80,
    TCCR1B = 0x81,
    TCNT1L = 0x84,
    OCR1AL = 0x88,
    OCR1BL = 0x8A,
    NO_PRESCALER = 1
};
enum { PHASE_CORRECT = 1, STEPS = 510, TOP = 255 };

static const uint16_t prescale0[8] = {0, 1, 8, 64, 256, 1024, 0, 0};
static const uint16_t prescale2[8] = {0, 1, 8, 32, 64, 128, 256, 1024};

static bool is_wide(const pwm_t *pwm) { return pwm->place.name != '0' && pwm->place.name != '2'; }

static uint32_t step_cycles(const board_t *board, const pwm_t *pwm) {
    uint8_t select = board->avr->data[pwm->place.tccrb] & 7;
    return (pwm->place.name == '2' ? prescale2 : prescale0)[select];
}

/* The compare registers are double buffered and change at TOP. */
static void take_over(board_t *board, pwm_t *pwm, uint64_t when) {
    const uint8_t *data = board->avr->data;
    for (int i = 0; i < pwm->place.channels; i++) {
        uint8_t com = data[pwm->place.tccra] >> (6 - 2 * i) & 3;
        uint16_t value = data[pwm->place.ocr[i]];
        if (is_wide(pwm)) {
            value |= (uint16_t)(data[pwm->place.ocr[i] + 1] << 8);
        }
        value = value > TOP ? TOP : value; /* above the top: always high */
        if (com == pwm->com[i] && value == pwm->in_force[i]) {
            continue;
        }
        pwm->com[i] = com;
        pwm->in_force[i] = value;
        log_event_at(board, when, EVENT_PWM, pwm->place.pins[i], (uint32_t)(value | com << 8));
    }
}

static avr_cycle_count_t on_top(avr_t *avr, avr_cycle_count_t when, void *param) {
    board_t *board = avr->custom.data;
    take_over(board, param, when);
    return when + (uint64_t)STEPS * step_cycles(board, param);
}

static avr_cycle_count_t on_bottom(avr_t *avr, avr_cycle_count_t when, void *param) {
    pwm_t *pwm = param;
    avr_raise_interrupt(avr, &pwm->simavr->overflow);
    return when + (uint64_t)STEPS * step_cycles(avr->custom.data, pwm);
}

static void start(board_t *board, pwm_t *pwm) {
    uint32_t step = step_cycles(board, pwm);
    bool held = board->avr->data[GTCCR] & TSM;
    bool wanted = step && !held && (board->avr->data[pwm->place.tccra] & 3) == PHASE_CORRECT;
    if (wanted == pwm->running) {
        return;
    }
    pwm->running = wanted;
    if (!wanted) {
        avr_cycle_timer_cancel(board->avr, on_top, pwm);
        avr_cycle_timer_cancel(board->avr, on_bottom, pwm);
        return;
    }
    avr_cycle_timer_register(board->avr, (uint64_t)TOP * step, on_top, pwm);
    avr_cycle_timer_register(board->avr, (uint64_t)STEPS * step, on_bottom, pwm);
}

static void on_setting(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    board_t *board = param;
    avr->data[address] = value;
    for (int i = 0; i < board->chip->pwm_timers; i++) {
        start(board, &board->pwm[i]);
    }
}

static void on_high(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    (void)avr;
    (void)address;
    ((pwm_t *)param)->high = value;
}

static void on_low(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr->data[address] = value;
    avr->data[address + 1] = ((pwm_t *)param)->high;
}

static void on_compare(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    (void)param;
    avr->data[address] = value;
}

/* -- timer 1 -------------------------------------------------------------------------------- */

static uint16_t word_at(const avr_t *avr, uint16_t low) {
    return (uint16_t)(avr->data[low] | avr->data[low + 1] << 8);
}

/* The flag is set one timer clock after the match (16.7); the next match is 65,536 later. */
static avr_cycle_count_t on_match(board_t *board, int unit, avr_cycle_count_t when) {
    avr_raise_interrupt(board->avr, &board->timer1.simavr->comp[unit].interrupt);
    return when + 65536;
}

static avr_cycle_count_t match_a(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr;
    return on_match(param, 0, when);
}

static avr_cycle_count_t match_b(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr;
    return on_match(param, 1, when);
}

/* A match is due when the count reaches the compare register, in 1 to 65,536 cycles. */
static void expect(board_t *board, uint16_t compare, avr_cycle_timer_t handler) {
    avr_t *avr = board->avr;
    if (!board->timer1.running) {
        return;
    }
    uint16_t left = (uint16_t)(compare - (uint16_t)(avr->cycle - board->timer1.zero));
    avr_cycle_timer_register(avr, (left ? left : 65536u) + 1, handler, board);
}

static void expect_both(board_t *board) {
    expect(board, word_at(board->avr, OCR1AL), match_a);
    expect(board, word_at(board->avr, OCR1BL), match_b);
}

static void on_match_a(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr->data[address] = value;
    expect(param, word_at(avr, OCR1AL), match_a);
}

static void on_match_b(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr->data[address] = value;
    expect(param, word_at(avr, OCR1BL), match_b);
}

static void on_clock1(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    board_t *board = param;
    avr->data[address] = value;
    board->timer1.running = value == NO_PRESCALER;
    board->timer1.zero = avr->cycle - word_at(avr, TCNT1L);
    expect_both(board);
}

static uint8_t on_count_read(avr_t *avr, avr_io_addr_t address, void *param) {
    const count_t *timer = &((board_t *)param)->timer1;
    if (timer->running) {
        uint16_t count = (uint16_t)(avr->cycle - timer->zero);
        avr->data[address] = (uint8_t)count;
        avr->data[address + 1] = (uint8_t)(count >> 8);
    }
    return avr->data[address];
}

static void on_count_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    board_t *board = param;
    avr->data[address] = value;
    board->timer1.zero = avr->cycle - word_at(avr, TCNT1L);
    expect_both(board);
}

/* Writing a one to a flag clears it, and nothing else. */
static void clear_flags(avr_t *avr, avr_int_vector_t **vectors, size_t count, uint8_t value) {
    for (size_t i = 0; i < count; i++) {
        avr_int_vector_t *vector = vectors[i];
        if (value >> vector->raised.bit & 1 && avr_regbit_get(avr, vector->raised)) {
            vector->pending = 0;
            avr_regbit_clear(avr, vector->raised);
        }
    }
}

/* Enabling an interrupt whose flag stands raises it. */
static void enable(avr_t *avr, avr_int_vector_t **vectors, size_t count) {
    for (size_t i = 0; i < count; i++) {
        avr_int_vector_t *vector = vectors[i];
        if (!avr_regbit_get(avr, vector->enable)) {
            vector->pending = 0;
        } else if (avr_regbit_get(avr, vector->raised) && !vector->pending) {
            avr_raise_interrupt(avr, vector);
        }
    }
}

static void on_flags1(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr_timer_t *timer = ((board_t *)param)->timer1.simavr;
    avr_int_vector_t *vectors[] = {&timer->overflow, &timer->comp[0].interrupt,
                                   &timer->comp[1].interrupt};
    (void)address;
    clear_flags(avr, vectors, 3, value);
}

static void on_mask1(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr_timer_t *timer = ((board_t *)param)->timer1.simavr;
    avr_int_vector_t *vectors[] = {&timer->overflow, &timer->comp[0].interrupt,
                                   &timer->comp[1].interrupt};
    avr->data[address] = value;
    enable(avr, vectors, 3);
}

static void on_flags0(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr_int_vector_t *vectors[] = {&((board_t *)param)->pwm[0].simavr->overflow};
    (void)address;
    clear_flags(avr, vectors, 1, value);
}

static void on_mask0(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr_int_vector_t *vectors[] = {&((board_t *)param)->pwm[0].simavr->overflow};
    avr->data[address] = value;
    enable(avr, vectors, 1);
}

/*
 * Input Capture (Input Capture Unit): at an edge of the kind that ICES says the count goes into
 * ICR, four clocks late where the noise canceler is on. Only in normal mode at clock / 8; the count
 * was 0 at cycle 0.
 */
enum { ICNC = 0x80, ICES = 0x40, CLOCK_SELECT = 7, BY_EIGHT = 2, CANCELER_CLOCKS = 4 };

void timers_edge(board_t *board, uint8_t pin, uint8_t level) {
    avr_t *avr = board->avr;
    for (int i = 0; i < board->chip->pwm_timers; i++) {
        const pwm_place_t *place = &board->pwm[i].place;
        uint8_t setting = avr->data[place->tccrb];
        if (place->icr == 0 || place->capture != pin || (avr->data[place->tccra] & 3) != 0 ||
            (setting & CLOCK_SELECT) != BY_EIGHT || ((setting & ICES) != 0) != (level != 0)) {
            continue;
        }
        uint64_t at = avr->cycle + ((setting & ICNC) ? CANCELER_CLOCKS : 0);
        uint16_t count = (uint16_t)(at / 8);
        avr->data[place->icr] = (uint8_t)count;
        avr->data[place->icr + 1] = (uint8_t)(count >> 8);
        avr_raise_interrupt(avr, &board->pwm[i].simavr->icr);
    }
}

static void on_capture_flags(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr_int_vector_t *vectors[] = {&((pwm_t *)param)->simavr->icr};
    (void)address;
    clear_flags(avr, vectors, 1, value);
}

static void on_capture_mask(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
    avr_int_vector_t *vectors[] = {&((pwm_t *)param)->simavr->icr};
    avr->data[address] = value;
    enable(avr, vectors, 1);
}

static avr_timer_t *find_timer(const board_t *board, char name) {
    for (avr_io_t *io = board->avr->io_port; io; io = io->next) {
        if (io->kind && !strcmp(io->kind, "timer") && ((avr_timer_t *)io)->name == name) {
            return (avr_timer_t *)io;
        }
    }
    return NULL;
}

static void attach_pwm(board_t *board, pwm_t *pwm, const pwm_place_t *place) {
    *pwm = (pwm_t){.place = *place, .simavr = find_timer(board, place->name)};
    watch_write(board, place->tccra, on_setting);
    watch_write(board, place->tccrb, on_setting);
    if (place->icr != 0) {
        watch_write(board, place->tifr, on_capture_flags);
        watch_write(board, place->timsk, on_capture_mask);
        board->avr->io[AVR_DATA_TO_IO(place->tifr)].w.param = pwm;
        board->avr->io[AVR_DATA_TO_IO(place->timsk)].w.param = pwm;
    }
    for (int i = 0; i < place->channels; i++) {
        watch_write(board, place->ocr[i], is_wide(pwm) ? on_low : on_compare);
        if (is_wide(pwm)) {
            watch_write(board, place->ocr[i] + 1, on_high);
            board->avr->io[AVR_DATA_TO_IO(place->ocr[i])].w.param = pwm;
            board->avr->io[AVR_DATA_TO_IO(place->ocr[i] + 1)].w.param = pwm;
        }
    }
}

void timers_attach(board_t *board) {
    for (int i = 0; i < board->chip->pwm_timers; i++) {
        attach_pwm(board, &board->pwm[i], &board->chip->pwm[i]);
    }
    board->timer1 = (count_t){find_timer(board, '1'), 0, false};
    watch_write(board, TCCR1B, on_clock1);
    watch_write(board, TCCR1A, on_compare);
    watch_read(board, TCNT1L, on_count_read);
    watch_write(board, TCNT1L, on_count_write);
    watch_write(board, OCR1AL, on_match_a);
    watch_write(board, OCR1BL, on_match_b);
    watch_write(board, GTCCR, on_setting);
    watch_write(board, TIFR0, on_flags0);
    watch_write(board, TIMSK0, on_mask0);
    watch_write(board, TIFR1, on_flags1);
    watch_write(board, TIMSK1, on_mask1);
}
