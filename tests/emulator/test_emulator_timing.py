"""The emulator keeps the data sheet's times where the measurements rely on them.

Source of all figures: ATmega48A/PA/88A/PA/168A/PA/328/P data sheet, sections as noted; opcodes from
the AVR Instruction Set Manual.
"""

from __future__ import annotations

import numpy as np
import pytest

from firmware_gen.chips import CHIPS
from tests.emulator.emulated import EEPROM, PWM, RX_LOST, RX_READ, TX, EmulatedBoard, run_together

PB0 = 0
LDI_R16_1, LDI_R17_0 = 0xE001, 0xE010
OUT_DDRB_R16, OUT_PORTB_R16, OUT_PORTB_R17 = 0xB904, 0xB905, 0xB915
STOP_HERE = 0xCFFF  # rjmp to itself
SEI, CLI, SLEEP, RETI, NOP = 0x9478, 0x94F8, 0x9588, 0x9518, 0x0000


def words(*values: int) -> bytes:
    return b"".join(value.to_bytes(2, "little") for value in values)


def ldi(register: int, value: int) -> int:
    return 0xE000 | (value & 0xF0) << 4 | (register - 16) << 4 | value & 0x0F


def store(address: int, value: int) -> tuple[int, ...]:
    """ldi r18, value; sts address, r18."""
    return ldi(18, value), 0x9320, address


CLOCKS = [
    # Section "Instruction Set Summary", column #Clocks.
    ("nop", (0x0000,), 1),
    ("mov r0, r1", (0x2C01,), 1),
    ("movw r24, r22", (0x01CB,), 1),
    ("subi r24, 3", (0x5083,), 1),
    ("adiw r30, 1", (0x9631,), 2),
    ("mul r24, r25", (0x9F89,), 2),
    ("in r24, SREG", (0xB78F,), 1),
    ("lds r24, 0x0084", (0x9180, 0x0084), 2),
    ("sts 0x0100, r24", (0x9380, 0x0100), 2),
    ("ld r24, X", (0x918C,), 2),
    ("ld r24, Z+", (0x9181,), 2),
    ("ldd r24, Z+4", (0x8184,), 2),
    ("st X, r24", (0x938C,), 2),
    ("push r24, pop r24", (0x938F, 0x918F), 2 + 2),
    ("lpm r24, Z", (0x9184,), 3),
    ("sbi PORTC, 0", (0x9A40,), 2),
    ("rjmp to the next", (0xC000,), 2),
    ("jmp to the next", (0x940C, 11), 3),
    ("brcc taken", (0xF400,), 2),
    ("brcs not taken", (0xF000,), 1),
    ("sbrc r17, 0, skips one word", (0xFD10, 0x0000), 2),
    ("sbrs r17, 0, does not skip", (0xFF10, 0x0000), 2),
    ("rcall and ret", (0xD001, 0xC001, 0x9508), 3 + 4 + 2),
]


@pytest.mark.parametrize(("text", "code", "clocks"), CLOCKS, ids=[row[0] for row in CLOCKS])
def test_an_instruction_takes_the_data_sheets_clocks(
    text: str, code: tuple[int, ...], clocks: int
) -> None:
    # Ten words set up Z, X and the port; the instruction under test stands at word 9.
    before = (LDI_R16_1, LDI_R17_0, OUT_DDRB_R16, ldi(26, 0), ldi(27, 1), ldi(30, 0), ldi(31, 1), 0)
    program = words(*before, OUT_PORTB_R16, *code, OUT_PORTB_R17, STOP_HERE)
    with EmulatedBoard(program) as board:
        board.run(cycles=100)
        cycles, levels = board.edges(PB0)
        assert levels.tolist() == [1, 0]
        assert int(np.diff(cycles)[0]) - 1 == clocks


LARGER = CHIPS["atmega2560"]
"""Its program counter has three bytes: calls, returns and interrupts take a clock longer."""


@pytest.mark.parametrize(
    ("text", "code", "clocks"),
    [
        # AVR Instruction Set Manual, ATmega2560: RCALL 4, RET 5; others as ever.
        ("rcall and ret", (0xD001, 0xC001, 0x9508), 4 + 5 + 2),
        ("rjmp to the next", (0xC000,), 2),
        ("push r24, pop r24", (0x938F, 0x918F), 2 + 2),
    ],
)
def test_a_call_with_three_bytes_of_program_counter_takes_the_manuals_clocks(
    text: str, code: tuple[int, ...], clocks: int
) -> None:
    before = (LDI_R16_1, LDI_R17_0, OUT_DDRB_R16, *([NOP] * 5))
    program = words(*before, OUT_PORTB_R16, *code, OUT_PORTB_R17, STOP_HERE)
    with EmulatedBoard(program, chip=LARGER) as board:
        board.run(cycles=100)
        cycles, levels = board.edges(LARGER.pin("PB0"))
        assert levels.tolist() == [1, 0]
        assert int(np.diff(cycles)[0]) - 1 == clocks, text


def test_an_interrupt_with_three_bytes_of_program_counter_answers_in_five_clocks() -> None:
    # Data sheet ATmega640 to 2561, Interrupt Response Time: five clock cycles.
    setup = (
        *(LDI_R16_1, LDI_R17_0, OUT_DDRB_R16),
        *store(0x89, 0),  # OCR1AH
        *store(0x88, 100),  # OCR1AL
        *store(0x6F, 2),  # TIMSK1: OCIE1A
        *store(0x81, 1),  # TCCR1B: one count a cycle
        OUT_PORTB_R16,
        SEI,
        *([NOP] * 200),
    )
    table = [NOP] * 57 * 2
    table[0] = 0xC000 | len(table) - 1  # rjmp behind the table
    table[2 * 17] = OUT_PORTB_R17  # vector 18, TIMER1 COMPA
    table[2 * 17 + 1] = RETI
    with EmulatedBoard(words(*table, *setup), chip=LARGER) as board:
        board.run(cycles=300)
        cycles, _ = board.edges(LARGER.pin("PB0"))
        flag = 100 + 1 - 2
        assert flag + 5 <= int(cycles[1] - cycles[0]) <= flag + 5 + 1


def test_a_compare_register_of_16_bits_takes_its_high_byte_with_the_low_one() -> None:
    # Data sheet, Accessing 16-bit Registers; mode 1 counts to 255, and more than that is always on.
    program = words(
        *store(0x90, 0x81),  # TCCR3A: COM3A1, WGM30
        *store(0x91, 2),  # TCCR3B: prescaler 8
        *store(0x99, 1),  # OCR3AH
        *store(0x98, 99),  # OCR3AL
        STOP_HERE,
    )
    with EmulatedBoard(program, chip=LARGER) as board:
        board.run(ms=1)
        assert board.events(PWM)["b"].tolist() == [255 | 2 << 8]


def test_an_interrupt_answers_in_four_clocks_and_a_jump() -> None:
    # 7.7.1: four clock cycles, then the vector is executed; 16.7: the flag is set one timer clock
    # after the match.
    setup = (
        *(LDI_R16_1, LDI_R17_0, OUT_DDRB_R16),
        *store(0x89, 0),  # OCR1AH
        *store(0x88, 100),  # OCR1AL
        *store(0x6F, 2),  # TIMSK1: OCIE1A
        *store(0x81, 1),  # TCCR1B: one count a cycle
        OUT_PORTB_R16,  # the timer has counted 2: the emulator dates a store at its start
        0x9478,  # sei
        *([0x0000] * 200),
    )
    table = [0x0000] * 26
    table[0] = 0xC000 | 25  # rjmp to word 26
    table[22] = OUT_PORTB_R17  # vector 11, TIMER1 COMPA
    table[23] = 0x9518  # reti
    with EmulatedBoard(words(*table, *setup)) as board:
        board.run(cycles=300)
        cycles, _ = board.edges(PB0)
        flag = 100 + 1 - 2
        assert flag + 4 <= int(cycles[1] - cycles[0]) <= flag + 4 + 1


def pending(*after: int) -> bytes:
    """A program with timer 1's match pending, then these words; its handler sets PB0."""
    setup = (
        *(LDI_R16_1, LDI_R17_0, OUT_DDRB_R16),
        *store(0x53, 1),  # SMCR: sleep enabled, idle (10.11.1)
        *store(0x88, 20),  # OCR1AL
        *store(0x6F, 2),  # TIMSK1: OCIE1A
        *store(0x81, 1),  # TCCR1B: one count a cycle
        *([NOP] * 40),
    )
    table = [NOP] * 26
    table[0] = 0xC000 | 25  # rjmp to word 26
    table[22] = OUT_PORTB_R16  # vector 11, TIMER1 COMPA
    table[23] = RETI
    return words(*table, *setup, *after, STOP_HERE)


@pytest.mark.parametrize("between", [SLEEP, NOP], ids=["sleep", "nop"])
def test_an_interrupt_that_waits_runs_between_two_instructions_that_enable_and_disable_it(
    between: int,
) -> None:
    # 7.7: the instruction following SEI is executed before any pending interrupt, and no other.
    with EmulatedBoard(pending(SEI, between, CLI)) as board:
        board.run(cycles=300)
        _, levels = board.edges(PB0)
        assert levels.tolist() == [1]


def test_an_interrupt_does_not_come_between_enabling_and_the_next_instruction() -> None:
    with EmulatedBoard(pending(SEI, CLI)) as board:
        board.run(cycles=300)
        _, levels = board.edges(PB0)
        assert levels.tolist() == []


def test_a_byte_on_the_line_takes_40_us_at_250_000_baud() -> None:
    # 19.3.1: UBRR 3 at 16 MHz is 250,000 baud; ten bits of 64 cycles.
    program = words(
        *store(0xC4, 3), *store(0xC1, 8), *store(0xC6, 0x5A), *store(0xC6, 0xA5), STOP_HERE
    )
    with EmulatedBoard(program) as board:
        board.run(cycles=2000)
        assert board.sent() == b"\x5a\xa5"
        assert np.diff(board.events(TX)["cycle"]).tolist() == [640]


def test_a_third_unread_byte_is_lost() -> None:
    # 19.7.4: the receive buffer holds two bytes.
    with EmulatedBoard(words(*store(0xC4, 3), *store(0xC1, 0x10), STOP_HERE)) as board:
        board.run(cycles=100)
        board.send(b"abcd")
        board.run(cycles=10 * 640)
        assert bytes(board.events(RX_LOST)["a"].astype("u1")) == b"cd"


def test_an_eeprom_write_takes_3_4_ms_and_shows_it() -> None:
    # Table 8-1: erase and write 3.4 ms; 8.6.3: EEPE stays set until then.
    program = words(
        *(LDI_R16_1, LDI_R17_0, OUT_DDRB_R16),
        *store(0x41, 7),  # EEARL
        *store(0x40, 0x42),  # EEDR
        *store(0x3F, 4),  # EEMPE
        *(ldi(18, 6), 0xBB2F),  # EEMPE and EEPE, within four cycles (out EECR)
        OUT_PORTB_R16,
        *(0x99F9, 0xCFFE),  # sbic EECR, EEPE; rjmp back
        *(OUT_PORTB_R17, STOP_HERE),
    )
    with EmulatedBoard(program) as board:
        board.run(ms=5)
        cycles, _ = board.edges(PB0)
        assert int(np.diff(cycles)[0]) == pytest.approx(3.4 * 16000, abs=10)
        assert board.eeprom()[7] == 0x42
        assert board.events(EEPROM)["b"].tolist() == [0xFF | 0x42 << 8]


def test_a_cut_write_leaves_any_value() -> None:
    program = words(*store(0x40, 0x42), *store(0x3F, 4), ldi(18, 6), 0xBB2F, STOP_HERE)
    with EmulatedBoard(program) as board:
        board.run(ms=1)
        assert board.writing
        assert board.cut_power(torn=0x99)[0] == 0x99


def test_phase_correct_pwm_takes_new_values_over_at_the_top() -> None:
    # 15.7.4: f = clock / (prescaler 510); OCR0A is updated at TOP, half a period after BOTTOM.
    program = words(
        *store(0x44, 0x81),  # TCCR0A: COM0A1, WGM00
        *store(0x45, 2),  # TCCR0B: prescaler 8
        *store(0x47, 99),
        STOP_HERE,
    )
    with EmulatedBoard(program) as board:
        board.run(ms=1)
        rows = board.events(PWM)
        assert rows["b"].tolist() == [99 | 2 << 8]
        assert int(rows["cycle"][0]) == pytest.approx(255 * 8, abs=16)


def test_two_boards_with_different_crystals_hear_one_another() -> None:
    talker = words(*store(0xC4, 3), *store(0xC1, 8), *store(0xC6, 0x37), STOP_HERE)
    listener = words(
        *store(0xC4, 3), *store(0xC1, 0x10), *([0x0000] * 800), 0x9180, 0xC6, STOP_HERE
    )
    with EmulatedBoard(talker) as one, EmulatedBoard(listener) as two:
        one.connect(two)
        one.set_clock(5000)
        two.set_clock(-5000)
        run_together([one, two], 0.001)
        assert one.cycle - two.cycle == pytest.approx(16000 * 0.01, abs=2)
        assert two.events(RX_READ)["a"].tolist() == [0x37]
