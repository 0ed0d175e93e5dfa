"""Why a frame was refused: one code and its plain words each."""

from typing import Final

TOO_LONG: Final = "too_long"
PARTIAL: Final = "partial"
NOT_TEXT: Final = "not_text"
WRONG_LAYOUT: Final = "wrong_layout"
NOT_A_NUMBER: Final = "not_a_number"
UNKNOWN_UNIT: Final = "unknown_unit"
UNKNOWN_MODE: Final = "unknown_mode"
WRONG_CHECK: Final = "wrong_check"
OUT_OF_FRAME: Final = "out_of_frame"
WRONG_TIME: Final = "wrong_time"
UNKNOWN_CODE: Final = "unknown_code"
WRONG_INSTRUMENT: Final = "wrong_instrument"
UNRECOGNISED: Final = "unrecognised"
WRONG_SEQUENCE: Final = "wrong_sequence"
UNFINISHED: Final = "unfinished"
UNKNOWN_TEST: Final = "unknown_test"
NOT_ASKED: Final = "not_asked"
NO_ANSWER: Final = "no_answer"
DRIVER_FAULT: Final = "driver_fault"
UNACCOUNTED: Final = "unaccounted"

PLAIN_WORDS: Final[dict[str, str]] = {
    TOO_LONG: "no end of frame within the greatest length",
    PARTIAL: "the line was lost or closed before the frame ended",
    NOT_TEXT: "bytes that are no text in the declared encoding",
    WRONG_LAYOUT: "the frame does not have the declared parts",
    NOT_A_NUMBER: "a value that is neither a number nor a declared token",
    UNKNOWN_UNIT: "a unit that the driver file does not list",
    UNKNOWN_MODE: "a mode that the driver file does not list",
    WRONG_CHECK: "the frame's check does not fit its bytes",
    OUT_OF_FRAME: "bytes outside any frame",
    WRONG_TIME: "a time that does not have the declared form",
    UNKNOWN_CODE: "a status code that the driver file does not list",
    WRONG_INSTRUMENT: "what answers is not the instrument that this line expects",
    UNRECOGNISED: "it fits, but so many before it did not that another instrument may be speaking",
    WRONG_SEQUENCE: "a frame with a number that does not follow the one before",
    UNFINISHED: "the message ended before its last record, so none of it counts",
    UNKNOWN_TEST: "a test code that the line's configuration does not list",
    NOT_ASKED: "bytes that came although nothing was asked",
    NO_ANSWER: "no whole answer within the time that it may take",
    DRIVER_FAULT: "the driver raised an error; the bytes are kept for another pour",
    UNACCOUNTED: "the driver said nothing of these bytes",
}
