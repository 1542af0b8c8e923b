/* SPDX-License-Identifier: MIT */
/* The first instructions of two interrupts, before the compiler saves what the rest of them needs. None of them changes a flag. */
#include <avr/io.h>

#include "deferred.h"
#include "sampler_phase.h"

#if defined(__AVR_HAVE_JMP_CALL__)
#define GO jmp
#else
#define GO rjmp
#endif

    .section .text.beginnings, "ax", @progbits

/* Lets other interrupts in before a single register is saved, but not itself. */
    .global EE_READY_vect
EE_READY_vect:
    cbi _SFR_IO_ADDR(EECR), EERIE
    sbi _SFR_IO_ADDR(DEFERRED_FLAGS), DEFERRED_HELD
    sei
    GO __vector_later

/* Starts the next conversion, so that the converter rests for two of its clocks only, and goes to the routine in sampler.c for
 * the one that is done. What is to be written was made ready by the interrupt before. */
    .global ADC_vect
ADC_vect:
    push r24
    lds r24, sampler_next_admux
    sts _SFR_MEM_ADDR(ADMUX), r24
    lds r24, sampler_next_adcsra
    sts _SFR_MEM_ADDR(ADCSRA), r24
    pop r24
    sbic _SFR_IO_ADDR(GPIOR0), PHASE_FIRST
    GO __vector_first_done
    sbic _SFR_IO_ADDR(GPIOR0), PHASE_SECOND
    GO __vector_second_done
    sbic _SFR_IO_ADDR(GPIOR0), PHASE_DRAIN
    GO __vector_drain_done
    sbic _SFR_IO_ADDR(GPIOR0), PHASE_SUPPLY
    GO __vector_supply_done
    GO __vector_other_done
