"""One row of each table of the bench as the writer takes it: the columns of the table without ``number``.

Field order is column order. Times are microseconds since 1970 UTC. [µs]
"""

from typing import NamedTuple


class RecordRow(NamedTuple):
    """One version of a record."""

    ordinal: int
    record_id: int
    version: int
    kind: str
    code: str
    valid_from_us: int
    retired: int
    body: str


class RecordLinkRow(NamedTuple):
    """What a version of a record names: the lot of a sample, the parts of a composite, a method's titrant."""

    ordinal: int
    record_id: int
    version: int
    role: str
    target_id: int


class CurvePointRow(NamedTuple):
    """One signal at one point of a running titration as the instrument gave it.

    A point without a signal is one row whose quantity and unit are empty. Numbers stand there only where the
    instrument gave a measured one.
    """

    ordinal: int
    capture_number: int
    frame_number: int
    frame_ordinal: int
    instrument: str
    at_us: int
    volume_numeral: str | None
    volume_ml: float | None
    signal_numeral: str | None
    signal: float | None
    signal_quantity: str
    signal_unit: str
    temperature_c: float | None = None
    elapsed_s: float | None = None
    mode: str | None = None
    sample: str | None = None
    sequence: str | None = None
    instrument_time: str | None = None
    signal_text: str | None = None
    signal_outcome: str | None = None


class ReportRow(NamedTuple):
    """What an instrument said of itself or of a run."""

    ordinal: int
    capture_number: int
    frame_number: int
    frame_ordinal: int
    instrument: str
    at_us: int
    kind: str
    body: str


class TrayItemRow(NamedTuple):
    """One version of a place on a tray."""

    ordinal: int
    item_id: int
    version: int
    instrument: str
    place: float
    kind: str
    sample_id: int | None
    standard_id: int | None
    tests: str
    state: str


class OnInstrumentRow(NamedTuple):
    """What stands on an instrument from a moment on."""

    instrument: str
    at_us: int
    item_id: int | None
    sample_id: int | None
    set_by: str


class TieRow(NamedTuple):
    """The act that binds a reading to a sample."""

    ordinal: int
    reading_id: int
    sample_id: int | None
    item_id: int | None
    how: str
    conflict: str | None = None


class RunRow(NamedTuple):
    """A run began with this point of a curve."""

    instrument: str
    started_at_us: int
    first_point_number: int
    first_point_ordinal: int
    item_id: int | None = None
    sample_id: int | None = None
    method_id: int | None = None
    method_version: int | None = None


class RunEndRow(NamedTuple):
    """A run ended, with the last point that belongs to it."""

    run_id: int
    ended_at_us: int
    how: str
    last_point_number: int
    last_point_ordinal: int
    detail: str | None = None


class RunWarningRow(NamedTuple):
    """What a check of the running curve found."""

    ordinal: int
    run_id: int
    at_us: int
    code: str
    evidence: str


class RunNoteRow(NamedTuple):
    """What a person said of a run."""

    run_id: int
    kind: str
    text: str


class ControlRecordRow(NamedTuple):
    """A record made from readings or typed by hand, judged once when it came."""

    kind: str
    instrument: str | None
    subject_id: int | None
    method_id: int | None
    method_version: int | None
    at_us: int
    quantity: str
    value_numeral: str | None
    value: float | None
    unit: str
    uncertainty: float | None
    verdict: str
    reasons: str
    details: str
    hand: int
    valid_until_us: int | None
    limit_set_id: int | None
    limit_set_version: int | None
    software_version: str


class ControlInputRow(NamedTuple):
    """What a control record was made from."""

    ordinal: int
    role: str
    source: str
    source_id: int
    source_version: int | None = None


class HoldRow(NamedTuple):
    """A bracket was opened: results since the last pass are in doubt."""

    code: str
    control_number: int | None
    instrument: str | None
    method_id: int | None
    subject_id: int | None
    from_us: int
    evidence: str


class HoldChangeRow(NamedTuple):
    """A bracket was closed to the front, narrowed, or settled."""

    hold_id: int
    change: str
    from_us: int | None = None
    until_us: int | None = None
    control_number: int | None = None


class ResultRow(NamedTuple):
    """An evaluated number for one sample, quantity and method."""

    sample_id: int | None
    item_id: int | None
    quantity: str
    method_id: int
    method_version: int
    instrument: str | None
    at_us: int
    outcome: str
    value_numeral: str | None
    value: float | None
    unit: str
    basis: str | None
    end_point: str | None
    uncertainty: float | None
    formula: str
    inputs: str
    run_id: int | None
    replicate_of: int | None
    hand: int
    software_version: str
    source: str | None = None


class ResultInputRow(NamedTuple):
    """What a version of a result stood on."""

    ordinal: int
    result_id: int
    version: int
    role: str
    source: str
    source_id: int
    source_version: int | None = None


class StandingRow(NamedTuple):
    """Whether a result may be used, from this entry on."""

    ordinal: int
    result_id: int
    standing: str
    reasons: str


class ReleaseRow(NamedTuple):
    """Whether a result is given to readers, from this entry on."""

    ordinal: int
    result_id: int
    mark: str


class AmendmentRow(NamedTuple):
    """A later, reasoned change of results."""

    kind: str
    scope: str
    expected_items: int


class AmendmentItemRow(NamedTuple):
    """The value of one result under an amendment."""

    ordinal: int
    amendment_id: int
    result_id: int
    version: int
    sample_id: int | None
    outcome: str
    value_numeral: str | None
    value: float | None
    unit: str
    uncertainty: float | None
    formula: str
    inputs: str


class AmendmentStateRow(NamedTuple):
    """One row makes a staged amendment current, or takes it back."""

    amendment_id: int
    state: str


class MovementRow(NamedTuple):
    """Wine went somewhere."""

    at_us: int
    kind: str
    to_lot_id: int
    to_vessel_id: int | None
    note: str


class MovementPartRow(NamedTuple):
    """What it was made of."""

    ordinal: int
    from_lot_id: int | None
    from_vessel_id: int | None
    volume_l: float


class AdditionRow(NamedTuple):
    """An addition was planned."""

    lot_id: int
    vessel_id: int | None
    substance_id: int
    quantity: str
    plan: str


class AdditionStepRow(NamedTuple):
    """What became of a planned addition."""

    addition_id: int
    step: str
    at_us: int
    mass_g: float | None
    reading_id: int | None
    details: str


class OutsideResultRow(NamedTuple):
    """A number of another laboratory, kept apart by its source, under the name that it used."""

    source: str
    alias: str
    lot_id: int | None
    sample_id: int | None
    reading_id: int | None
    at_us: int
    quantity: str
    outcome: str
    value_numeral: str | None
    value: float | None
    unit: str
    uncertainty: float | None
    method: str


class PinRow(NamedTuple):
    """A person's pin under a slow hash."""

    person_id: int
    salt: bytes
    hash: bytes
    cost: str


class AccessKeyRow(NamedTuple):
    """A key for programs, kept as its hash."""

    name: str
    scope: str
    sha256: bytes


class AccessKeyEndRow(NamedTuple):
    """A key was revoked."""

    key_id: int


class RequestAnswerRow(NamedTuple):
    """What a write was answered, so that the same request sent twice acts once."""

    request_key: str
    route: str
    request_sha256: bytes
    status: int
    answer: str


class AlertRow(NamedTuple):
    """Something people should know."""

    code: str
    subject: str
    rank: int
    at_us: int
    evidence: str


class AlertEndRow(NamedTuple):
    """A person has seen it, or it is no longer so."""

    alert_id: int
    how: str


class CardRow(NamedTuple):
    """An opening or closing card as it was signed."""

    kind: str
    day: str
    items: str


class SettledRow(NamedTuple):
    """A reading of a stream was made the one of record."""

    reading_id: int
    first_reading_id: int
    readings: int
    instrument: str
    quantity: str
    at_us: int
    how: str
    verdict: str
    rule: str | None = None
    span: float | None = None
    drift_per_s: float | None = None
    waited_s: float | None = None
