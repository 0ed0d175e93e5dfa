"""Every kind of instrument that can be simulated alone: what it is, and how it is set up."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from simulators import (
    acid_burette,
    balances,
    density_table,
    lis_instrument,
    modbus_device,
    query_meter,
    turbidity_meter,
)
from simulators.bench import Place, burette, meter
from simulators.clock import Clock
from simulators.noise import stream
from simulators.ph_meter import Beaker, beakers_of_the_cellar
from simulators.samples import otterquill

MakePlace = Callable[[str, Clock, int, str], Place]
"""Takes address, clock, seed and the instrument's id."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of instrument."""

    about: str
    name: str
    """Id that it has by default."""
    make: MakePlace


def analyser(address: str, clock: Clock, seed: int, name: str) -> Place:
    """Return an analyser that calls and wants to be acknowledged."""
    instrument = lis_instrument.LisInstrument(name, otterquill(seed), clock.utc_us, seed)
    tests = {
        "FSO2": {"quantity": "free_so2", "units": ["mg/L"]},
        "TSO2": {"quantity": "total_so2", "units": ["mg/L"]},
        "PH": {"quantity": "ph", "unit": "pH"},
    }
    return Place(instrument, lis_instrument.LINE, "lis01", address, {"tests": tests, "sender": name})


def oxygen_probe(address: str, clock: Clock, seed: int, name: str) -> Place:  # noqa: ARG001 - it has no calendar
    """Return a probe for dissolved oxygen that is asked for its registers."""
    fields = [
        {
            "at": 0,
            "type": "float32",
            "order": "CDAB",
            "quantity": "dissolved_oxygen",
            "unit": "mg/L",
        },
        {
            "at": 2,
            "type": "int16",
            "scale": "0.1",
            "quantity": "temperature",
            "unit": "°C",
            "no_value": ["8000"],
        },
    ]
    poll = {"registers": "input", "first": 0, "count": 4, "every_s": 1.0, "timeout_s": 0.5, "fields": fields}
    options = {"device": modbus_device.DEVICE, "poll": [poll]}
    instrument = modbus_device.ModbusDevice(name, seed)
    return Place(instrument, modbus_device.LINE, "modbus-rtu", address, options)


def asked_ph_meter(address: str, clock: Clock, seed: int, name: str) -> Place:  # noqa: ARG001 - no calendar
    """Return a pH meter that answers queries."""
    fields = [{"quantity": "ph", "unit": "pH"}, {"quantity": "temperature", "unit": "°C"}]
    poll = {"send": "MEAS:PH?;MEAS:TEMP?", "every_s": 1.0, "timeout_s": 0.5, "fields": fields}
    maker, model, serial, _ = query_meter.IDENTITY
    identity = {"maker": maker, "model": model, "serial": serial}
    options = {"identity": identity, "poll": [poll], "retry_s": 1.0}
    instrument = query_meter.QueryMeter(name, _beakers(seed, name), seed)
    return Place(instrument, query_meter.LINE, "query-answer", address, options)


def asked_balance(address: str, clock: Clock, seed: int, name: str) -> Place:  # noqa: ARG001 - no calendar
    """Return a balance that is asked."""
    return Place(balances.AskedBalance(name, seed), balances.ASKED_LINE, "asked-balance", address)


def button_balance(address: str, clock: Clock, seed: int, name: str) -> Place:  # noqa: ARG001 - no calendar
    """Return a balance with a print button, at 7 bits and even parity."""
    return Place(balances.ButtonBalance(name, seed), balances.BUTTON_LINE, "button-balance", address)


def titrator(address: str, clock: Clock, seed: int, name: str) -> Place:
    """Return a burette for titratable acidity."""
    instrument = acid_burette.AcidBurette(name, otterquill(seed), clock.utc_us, seed)
    return Place(instrument, acid_burette.LINE, "acid-burette", address)


def density_meter(address: str, clock: Clock, seed: int, name: str) -> Place:
    """Return a density meter that writes a table anew after every sample."""
    instrument = density_table.DensityTable(name, otterquill(seed), clock.utc_us, seed)
    return Place(instrument, density_table.LINE, "density-table", address)


def turbidity(address: str, clock: Clock, seed: int, name: str) -> Place:  # noqa: ARG001 - no calendar
    """Return a turbidity meter that no shipped driver knows."""
    return Place(turbidity_meter.TurbidityMeter(name, seed), turbidity_meter.LINE, "", address)


def _beakers(seed: int, name: str) -> Iterator[Beaker]:
    return beakers_of_the_cellar(stream(seed, f"{name}/beakers"))


KINDS: Final = {
    "so2-burette": Kind("SO2 burette that pushes", "bur-1", burette),
    "ph-meter": Kind("pH meter that streams", "ph-1", meter),
    "lis-analyser": Kind("analyser that calls and wants acknowledgements (LIS01-A2)", "ana-1", analyser),
    "oxygen-probe": Kind("dissolved-oxygen probe that is asked (Modbus RTU)", "do-1", oxygen_probe),
    "query-meter": Kind("pH meter that is asked (IEEE 488.2)", "ph-2", asked_ph_meter),
    "asked-balance": Kind("balance that is asked", "bal-1", asked_balance),
    "button-balance": Kind("balance with a print button, 7E1", "bal-2", button_balance),
    "acid-burette": Kind("acid-base burette with a pH probe", "ta-1", titrator),
    "density-meter": Kind("density meter that writes a table; --port file:PATH", "dens-1", density_meter),
    "turbidity-meter": Kind("turbidity meter that no driver knows", "turb-1", turbidity),
}
