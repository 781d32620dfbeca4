/*
 * Timers 0 and 2 in phase correct PWM (data sheet 15.7.4, 18.7.4): a period of 510 steps, the compare registers taken over
 * at the top, the overflow interrupt at the bottom. Flags of timer 1 cleared one by one (16.11.9).
 */
#include "harness.h"

#include <string.h>

enum { TIFR0 = 0x35, TIFR1 = 0x36, TIMSK0 = 0x6E, TIMSK1 = 0x6F, GTCCR = 0x43, TSM = 0x80 };
enum { PHASE_CORRECT = 1, STEPS = 510, TOP = 255 };

static const uint16_t prescale0[8] = {0, 1, 8, 64, 256, 1024, 0, 0};
static const uint16_t prescale2[8] = {0, 1, 8, 32, 64, 128, 256, 1024};

static uint32_t step_cycles(const board_t *board, const pwm_t *pwm)
{
    uint8_t select = board->avr->data[pwm->tccrb] & 7;
    return (pwm == &board->pwm[0] ? prescale0 : prescale2)[select];
}

/* The compare registers are double buffered and change at TOP. */
static void take_over(board_t *board, pwm_t *pwm, uint64_t when)
{
    const uint8_t *data = board->avr->data;
    for (int i = 0; i < 2; i++) {
        uint8_t com = data[pwm->tccra] >> (i ? 4 : 6) & 3;
        uint8_t value = data[pwm->ocr[i]];
        if (com == pwm->com[i] && value == pwm->in_force[i]) {
            continue;
        }
        pwm->com[i] = com;
        pwm->in_force[i] = value;
        log_event_at(board, when, EVENT_PWM, pwm->pins[i], (uint32_t)(value | com << 8));
    }
}

static avr_cycle_count_t on_top(avr_t *avr, avr_cycle_count_t when, void *param)
{
    board_t *board = avr->custom.data;
    take_over(board, param, when);
    return when + (uint64_t)STEPS * step_cycles(board, param);
}

static avr_cycle_count_t on_bottom(avr_t *avr, avr_cycle_count_t when, void *param)
{
    pwm_t *pwm = param;
    avr_raise_interrupt(avr, &pwm->simavr->overflow);
    return when + (uint64_t)STEPS * step_cycles(avr->custom.data, pwm);
}

static void start(board_t *board, pwm_t *pwm)
{
    uint32_t step = step_cycles(board, pwm);
    bool held = board->avr->data[GTCCR] & TSM;
    bool wanted = step && !held && (board->avr->data[pwm->tccra] & 3) == PHASE_CORRECT;
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

static void on_setting(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    board_t *board = param;
    avr->data[address] = value;
    start(board, &board->pwm[0]);
    start(board, &board->pwm[1]);
}

static void on_compare(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    (void)param;
    avr->data[address] = value;
}

/* Writing a one to a flag clears it, and nothing else. */
static void clear_flags(avr_t *avr, avr_int_vector_t **vectors, size_t count, uint8_t value)
{
    for (size_t i = 0; i < count; i++) {
        avr_int_vector_t *vector = vectors[i];
        if (value >> vector->raised.bit & 1 && avr_regbit_get(avr, vector->raised)) {
            vector->pending = 0;
            avr_regbit_clear(avr, vector->raised);
        }
    }
}

/* Enabling an interrupt whose flag stands raises it. */
static void enable(avr_t *avr, avr_int_vector_t **vectors, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        avr_int_vector_t *vector = vectors[i];
        if (!avr_regbit_get(avr, vector->enable)) {
            vector->pending = 0;
        } else if (avr_regbit_get(avr, vector->raised) && !vector->pending) {
            avr_raise_interrupt(avr, vector);
        }
    }
}

static void on_flags1(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    avr_timer_t *timer = ((board_t *)param)->timer1;
    avr_int_vector_t *vectors[] = {&timer->overflow, &timer->comp[0].interrupt, &timer->comp[1].interrupt};
    (void)address;
    clear_flags(avr, vectors, 3, value);
}

static void on_mask1(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    avr_timer_t *timer = ((board_t *)param)->timer1;
    avr_int_vector_t *vectors[] = {&timer->overflow, &timer->comp[0].interrupt, &timer->comp[1].interrupt};
    avr->data[address] = value;
    enable(avr, vectors, 3);
}

static void on_flags0(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    avr_int_vector_t *vectors[] = {&((board_t *)param)->pwm[0].simavr->overflow};
    (void)address;
    clear_flags(avr, vectors, 1, value);
}

static void on_mask0(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param)
{
    avr_int_vector_t *vectors[] = {&((board_t *)param)->pwm[0].simavr->overflow};
    avr->data[address] = value;
    enable(avr, vectors, 1);
}

static avr_timer_t *find_timer(const board_t *board, char name)
{
    for (avr_io_t *io = board->avr->io_port; io; io = io->next) {
        if (io->kind && !strcmp(io->kind, "timer") && ((avr_timer_t *)io)->name == name) {
            return (avr_timer_t *)io;
        }
    }
    return NULL;
}

void timers_attach(board_t *board)
{
    board->pwm[0] = (pwm_t){find_timer(board, '0'), {22, 21}, 0x44, 0x45, {0x47, 0x48}, .in_force = {0}};
    board->pwm[1] = (pwm_t){find_timer(board, '2'), {3, 19}, 0xB0, 0xB1, {0xB3, 0xB4}, .in_force = {0}};
    board->timer1 = find_timer(board, '1');
    for (int i = 0; i < 2; i++) {
        watch_write(board, board->pwm[i].tccra, on_setting);
        watch_write(board, board->pwm[i].tccrb, on_setting);
        watch_write(board, board->pwm[i].ocr[0], on_compare);
        watch_write(board, board->pwm[i].ocr[1], on_compare);
    }
    watch_write(board, GTCCR, on_setting);
    watch_write(board, TIFR0, on_flags0);
    watch_write(board, TIMSK0, on_mask0);
    watch_write(board, TIFR1, on_flags1);
    watch_write(board, TIMSK1, on_mask1);
}
