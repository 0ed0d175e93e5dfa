"""The fields of one kind of message, each in the light of its neighbours."""

from collections.abc import Collection, Sequence

from acquire.learning.guess import Guess, ignored
from acquire.learning.moments import order_question
from acquire.learning.number_fields import Surroundings, number_guess
from acquire.learning.report import Claim, succession
from acquire.learning.spelling import NumberReader
from acquire.learning.text_fields import (
    counter_guess,
    looks_like_codes,
    mode_quantities,
    sample_guess,
    sample_score,
    stable_guess,
    status_guess,
    word_guess,
)
from acquire.learning.texts import MARKS, SIGNS, FieldTexts, Study, study
from acquire.learning.vocabulary import Vocabulary
from acquire.learning.words import DRIFTING, STABLE, quantity_of_label


class RecordStudy:
    """Finds what each field of a record is; a field that is settled is not looked at again."""

    def __init__(
        self,
        fields: Sequence[FieldTexts],
        reader: NumberReader,
        words: Vocabulary,
        *,
        has_constants: bool,
        mark_first: bool = False,
        constants: Collection[int] = (),
    ) -> None:
        """Take fields from left to right.

        Parameters
        ----------
        fields : sequence of FieldTexts
            With their texts in the order of the messages.
        reader : NumberReader
            Of the numbers of this instrument.
        words : Vocabulary
            Takes tokens, marks and questions.
        has_constants : bool
            Fields stand at places, so that some may be labels that never change.
        mark_first : bool
            The first field is a constant by which this kind of message is known.
        constants : collection of int
            Which fields are known to be constants.
        """
        self._words = words
        self._has_constants = has_constants
        self._studies = [study(one, reader, words.answers) for one in fields]
        self._guesses: list[Guess | None] = [None] * len(fields)
        for at in {*constants, *((0,) if mark_first else ())}:
            self._settle(at, self._constant(self._studies[at]))

    def guesses(self) -> list[Guess]:
        """Return what each field is."""
        self._take_answers()
        self._find_times()
        self._find_counter()
        modes = self._find_modes()
        self._find_sample_by_name()
        self._find_marks()
        self._find_numbers(modes)
        self._find_sample()
        self._find_words()
        return [guess if guess is not None else ignored("") for guess in self._guesses]

    def _settle(self, at: int, guess: Guess) -> None:
        self._guesses[at] = guess

    def _open(self) -> list[tuple[int, Study]]:
        return [(at, found) for at, found in enumerate(self._studies) if self._guesses[at] is None]

    def _has(self, kind: str) -> bool:
        return any(guess is not None and guess.kind == kind for guess in self._guesses)

    def _take_answers(self) -> None:
        for at, found in self._open():
            answer = self._words.answers.of_field(found.field.key)
            if (
                answer is not None
                and answer.role
                and not (answer.role != "ignore" and self._has(answer.role))
            ):
                weight = 0.95  # nobody needs to know more of it
                claim = Claim(found.field.key, answer.role, 1.0, "somebody said so")
                self._settle(at, Guess({"kind": answer.role}, weight, [claim]))

    def _find_times(self) -> None:
        """Take one time, or one date and one time of day."""
        times = [(at, found.time) for at, found in self._open() if found.time is not None]
        whole = [at for at, time in times if time.has_date and time.has_time]
        dates = [at for at, time in times if time.has_date and not time.has_time]
        clocks = [at for at, time in times if time.has_time and not time.has_date]
        taken = whole[:1] or [*dates[:1], *clocks[:1]]
        for at, time in times:
            found = self._studies[at]
            if at not in taken:
                self._settle(at, ignored(found.field.key, "another field is the time"))
                continue
            count = len(found.field.said)
            claim = Claim(
                found.field.key, f"a time written {time.form}", succession(count, count), f"{count} fit"
            )
            guess = Guess({"kind": "time", "form": time.form}, 1.0, [claim])
            if time.other:
                guess.questions.append(order_question(found.field.key, time, found.field.said))
            self._settle(at, guess)

    def _find_counter(self) -> None:
        for at, found in self._open():
            is_measured = (
                quantity_of_label(found.field.label) is not None or self._unit_behind(at) is not None
            )
            guess = None if is_measured else counter_guess(found)
            if guess is not None:
                self._settle(
                    at, ignored(found.field.key, "another counter") if self._has("sequence") else guess
                )

    def _find_modes(self) -> dict[str, str]:
        """Take a field whose texts name quantities, if numbers stand beside it that nothing else names."""
        for at, found in self._open():
            modes = mode_quantities(found, self._words)
            if modes and not self._has("mode"):
                because = ", ".join(f"{text} for {code}" for text, code in modes.items())
                claim = Claim(found.field.key, "says which quantity it is", 0.8, because, is_guess=True)
                self._settle(at, Guess({"kind": "mode", "texts": list(modes)}, 0.9, [claim]))
                return modes
        return {}

    def _find_sample_by_name(self) -> None:
        for at, found in self._open():
            if not self._has("sample") and found.field.label and sample_score(found) >= 4:
                self._settle(at, sample_guess(found))

    def _find_marks(self) -> None:
        for at, found in self._open():
            follower = self._studies[at + 1] if at + 1 < len(self._studies) else None
            if found.nature == "marks" and follower is not None and follower.nature == "numbers":
                self._words.take_marks(set(found.field.said) & MARKS)
                claim = Claim(found.field.key, "a range mark", 0.9, "only < > = stand there")
                self._settle(at, Guess({"kind": "qualifier"}, 1.0, [claim]))

    def _find_numbers(self, modes: dict[str, str]) -> None:
        for at, found in self._open():
            if found.nature != "numbers" or self._guesses[at] is not None:
                continue
            if (
                at
                and len(self._studies[at - 1].field.said) > 0
                and set(self._studies[at - 1].field.said) <= SIGNS
            ):
                self._settle(at, ignored(found.field.key, "its sign stands in a column of its own"))
                continue
            unit_at = self._unit_behind(at)
            unit_texts = None if unit_at is None else self._studies[unit_at].field.said
            around = Surroundings(self._name_of(at), unit_texts, found.field.unit_hint, modes)
            if self._is_no_measure(found, around):
                continue
            guess = number_guess(found, around, self._words)
            self._settle(at, guess)
            if unit_at is not None:
                is_read = guess.kind == "value"
                self._settle(unit_at, Guess({"kind": "unit" if is_read else "ignore"}, 1.0))
                if guess.stand_in is not None and "units" in guess.stand_in:
                    unit_guess = self._guesses[unit_at]
                    assert unit_guess is not None  # noqa: S101 - settled two lines above
                    unit_guess.stand_in = {"kind": "unit"}

    def _is_no_measure(self, found: Study, around: Surroundings) -> bool:
        """Tell whether whole numbers without name and unit are codes or ids and nothing measured."""
        if around.unit_texts or around.unit_hint or self._words.answers.of_field(found.field.key) is not None:
            return False
        if quantity_of_label(around.label) or any(parts.rest for parts in found.parts):
            return False
        said = found.field.said
        if not all(text.isdigit() for text in said):
            return False
        return any(len(text) > 1 and text.startswith("0") for text in said) or set(said) <= {"0", "1"}

    def _unit_behind(self, at: int) -> int | None:
        """Return where the unit of a field of numbers stands, if it is the next field that is open."""
        behind = at + 1
        if behind >= len(self._studies) or self._guesses[behind] is not None:
            return None
        return behind if self._studies[behind].nature == "units" else None

    def _name_of(self, at: int) -> str:
        """Return what names a field: its label, or a constant text before it."""
        own = self._studies[at].field.label
        if own or at == 0 or not self._has_constants:
            return own
        before = self._studies[at - 1]
        return before.field.said[0] if before.nature == "constant" else ""

    def _find_sample(self) -> None:
        if self._has("sample"):
            return
        scored = [(sample_score(found), -at, at) for at, found in self._open() if found.nature != "empty"]
        best = max(scored, default=(0.0, 0, 0))
        if best[0] > 0 and not (best[0] == 1.0 and looks_like_codes(self._studies[best[2]])):
            self._settle(best[2], sample_guess(self._studies[best[2]]))

    def _find_words(self) -> None:
        for at, found in self._open():
            guess = stable_guess(found) or status_guess(found, self._words)
            if guess is not None and not (guess.kind == "stable" and self._has("stable")):
                self._settle(at, guess)
            elif found.nature == "constant" and self._is_constant(at, found):
                self._settle(at, self._constant(found))
            else:
                self._settle(at, word_guess(found, mode_is_free=not self._has("mode")))

    def _is_constant(self, at: int, found: Study) -> bool:
        if not self._has_constants or None in found.field.texts or "" in found.field.texts:
            return False
        text = found.field.said[0]
        behind = self._guesses[at + 1] if at + 1 < len(self._guesses) else None
        names_next = behind is not None and (behind.kind == "value" or behind.stand_in is not None)
        is_mark = not any(character.isalnum() for character in text)
        is_rest = text.casefold() in STABLE | DRIFTING
        return at == 0 or names_next or is_mark or is_rest or text.endswith((":", "="))

    def _constant(self, found: Study) -> Guess:
        text, count = found.field.said[0], len(found.field.said)
        claim = Claim(found.field.key, f"always {text!r}", succession(count, count), f"{count} times")
        return Guess({"kind": "constant", "text": text}, 0.85, [claim])
