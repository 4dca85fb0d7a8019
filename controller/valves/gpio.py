"""The pins through gpiozero; only this module uses it.

The driver is named, never guessed: "lgpio" moves relays, "mock" pretends. Every fault of gpiozero,
lgpio or the kernel leaves here as `ValveFault`.
"""

from __future__ import annotations

import gc
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

import gpiozero
from gpiozero.pins.mock import MockFactory

from controller.clock import Clock, slept_s
from controller.errors import ValveFault
from controller.valves.pins import Debounce, OnEdge, PinDriver

__all__ = ["GpioInputs", "GpioPins", "Kind", "PinDriver", "line_number"]

Kind = Literal["lgpio", "mock"]
_STAMP_TRUSTED_S = 5.0  # a driver's time stamp further than this from now is of another clock
_PIN = re.compile(r"(?:GPIO|BCM)?(\d{1,3})", re.IGNORECASE)


class GpioPins:
    """Lines of the board through gpiozero."""

    def __init__(self, kind: Kind, chip: int | None = None) -> None:
        if kind == "lgpio":
            self._factory: Any = _lgpio_factory(chip)
        elif kind == "mock":
            self._factory = MockFactory()
        else:
            raise ValveFault(f'pins: found {kind!r}; allowed is "lgpio" or "mock"')
        self.kind: Kind = kind
        self._devices: dict[int, Any] = {}

    @property
    def chip(self) -> int | None:
        """The number of the GPIO chip that was opened; None for pretended pins."""
        return self._factory.chip if self.kind == "lgpio" else None

    @property
    def factory(self) -> Any:
        """gpiozero's pin factory, which the input pins share."""
        return self._factory

    def claim(self, number: int, active_low: bool) -> None:
        """Take the line as an output that is off; the same line twice is a fault."""
        number = line_number(number)
        if number in self._devices:
            raise ValveFault(f"line {number} is taken already: two valves cannot share a line")
        try:
            with _no_collection():
                self._devices[number] = gpiozero.DigitalOutputDevice(
                    number,
                    active_high=not active_low,
                    initial_value=False,
                    pin_factory=self._factory,
                )
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            raise ValveFault(f"line {number} cannot be taken as an output: {fault}") from fault

    def write(self, number: int, on: bool) -> None:
        """Drive the line on or off."""
        device = self._device(number)
        try:
            device.on() if on else device.off()
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            level = "on" if on else "off"
            raise ValveFault(f"line {number} cannot be driven {level}: {fault}") from fault

    def read(self, number: int) -> bool:
        """Whether the line's level is the one for on. It shows the pin, not the water."""
        device = self._device(number)
        try:
            return bool(device.value)
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            raise ValveFault(f"line {number} cannot be read: {fault}") from fault

    def let_go(self, number: int) -> None:
        """Drive the line off and give it back; it stays driven off until it is taken anew."""
        device = self._device(number)
        try:
            device.off()
            device.close()
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            raise ValveFault(f"line {number} cannot be given back: {fault}") from fault
        del self._devices[number]

    def close(self) -> None:
        """Give every line and the chip back, off. The kernel may free the lines, as at our end."""
        try:
            for number in list(self._devices):
                self.let_go(number)
        finally:
            self._close_chip()

    def _close_chip(self) -> None:
        try:
            self._factory.close()
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            raise ValveFault(f"the board's GPIO chip cannot be given back: {fault}") from fault

    def release_all(self) -> None:
        """Drive every line off, each in its own try; the lines stay outputs.

        Closing a gpiozero device would make the line an input without a pull, and a relay input
        left floating may take itself for on.
        """
        failed = []
        for number in self._devices:
            try:
                self.write(number, False)
            except ValveFault as fault:
                failed.append(str(fault))
        if failed:
            raise ValveFault("; ".join(failed))

    def _device(self, number: int) -> Any:
        try:
            return self._devices[number]
        except KeyError:
            raise ValveFault(f"line {number} was never taken as an output") from None


class GpioInputs:
    """Input pins through gpiozero, on the chip that `GpioPins` opened.

    The pull is to the side at rest: up for a contact to ground. The pin driver is asked to
    debounce, too; the mock does not, so our own debounce decides.
    """

    def __init__(
        self, pins: GpioPins, clock: Clock, slept_s: Callable[[], float] = slept_s
    ) -> None:
        self._factory, self._clock, self._slept_s = pins.factory, clock, slept_s
        self._devices: dict[int, Any] = {}
        self._handlers: list[Any] = []  # gpiozero keeps them weakly

    def watch(self, number: int, *, active_low: bool, debounce_s: float, on_edge: OnEdge) -> None:
        """Take the line as an input and report every edge to active."""
        number = line_number(number)
        if number in self._devices:
            raise ValveFault(f"line {number} is taken already: two things cannot share a line")
        debounce = Debounce(debounce_s)

        def changed(stamp_s: float, high: int) -> None:
            if high not in (0, 1):
                return  # no edge: lgpio says 2 for a watchdog, which nobody set
            # The kernel's time of the edge: one that waited for a busy interpreter is not late.
            # Its stamps leave out what the board slept.
            active, now = bool(high) != active_low, self._clock.mono_s()
            if debounce.changed(active, stamp_s):
                at_s = stamp_s + self._slept_s()
                on_edge(at_s if abs(now - at_s) < _STAMP_TRUSTED_S else now)

        try:
            with _no_collection():
                device = gpiozero.DigitalInputDevice(
                    number, pull_up=active_low, bounce_time=debounce_s, pin_factory=self._factory
                )
            debounce.starts(bool(device.value))
            self._handlers.append(changed)
            device.pin.when_changed = changed
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            raise ValveFault(f"line {number} cannot be taken as an input: {fault}") from fault
        self._devices[number] = device

    def level(self, number: int) -> bool:
        """Whether a watched line is active now."""
        try:
            device = self._devices[number]
        except KeyError:
            raise ValveFault(f"line {number} was never taken as an input") from None
        try:
            return bool(device.value)
        except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
            raise ValveFault(f"line {number} cannot be read: {fault}") from fault


@contextmanager
def _no_collection() -> Iterator[None]:
    """Collect no garbage meanwhile.

    While gpiozero takes a pin it holds a lock. A device that is collected in that moment asks for
    the same lock to let its own pin go: the thread would wait for itself for ever.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def line_number(pin: int | str) -> int:
    """The BCM number in 17, "17", "GPIO17" or "BCM17"; `ValveFault` for anything else."""
    if isinstance(pin, int) and not isinstance(pin, bool) and pin >= 0:
        return pin
    if isinstance(pin, str) and (match := _PIN.fullmatch(pin.strip())):
        return int(match[1])
    raise ValveFault(f'line: found {pin!r}; allowed is a BCM GPIO number, as in 17 or "GPIO17"')


def _lgpio_factory(chip: int | None) -> Any:
    """gpiozero's lgpio factory, with a pin class that starts a line at its off level."""
    # Imported here, not above: lgpio is the board's own package, and its import makes a FIFO in the
    # working directory.
    try:
        import lgpio
    except ImportError as fault:
        raise ValveFault(
            "pins lgpio: the Python module lgpio is missing. It comes with the board's system: "
            "install its package python3-lgpio and make Rowgate's environment with system site "
            "packages. On a computer without relays, use --pins mock."
        ) from fault
    except OSError as fault:
        raise ValveFault(
            f"pins lgpio: it could not make its FIFO in {Path.cwd()} ({fault}). Start Rowgate in a "
            "directory it may write to, or name one in the environment variable LG_WD."
        ) from fault
    if not hasattr(lgpio, "gpiochip_open"):
        raise ValveFault(
            "pins lgpio: the module named lgpio is an empty stand-in without gpiochip_open. Remove "
            "it, install the system's package python3-lgpio, and make Rowgate's environment with "
            "system site packages. On a computer without relays, use --pins mock."
        )
    from gpiozero.pins.lgpio import LGPIOFactory, LGPIOPin

    class OffFirstPin(LGPIOPin):  # type: ignore[misc]  # gpiozero has no type hints
        """A pin that is claimed at its off level in one call, and let go at that level.

        gpiozero claims an output low and then writes the level it wants: a relay that is on at low
        would pull in at every start. And it closes a pin by making it an input without a pull.
        """

        off_level: bool | None = None

        def output_with_state(self, state: bool) -> None:
            """Claim the line as an output whose first level is `state`."""
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(bool(state)))
            self.off_level = bool(state)

        def close(self) -> None:
            """Drive the line off, and leave it so."""
            if self.off_level is not None and self.factory._handle is not None:
                lgpio.gpio_write(self.factory._handle, self._number, int(self.off_level))

    try:
        factory = LGPIOFactory(chip=chip)
    except gpiozero.PinUnknownPi as fault:
        raise ValveFault(
            f"pins lgpio: this is not a board whose pin header gpiozero knows ({fault}). On a "
            "computer without relays, use --pins mock."
        ) from fault
    except Exception as fault:  # the door: whatever gpiozero, lgpio or the kernel raise
        raise ValveFault(
            f"pins lgpio: the board's GPIO chip cannot be opened: {fault}. The user that runs "
            "Rowgate must be in the group that owns /dev/gpiochip* (often gpio). On a computer "
            "without relays, use --pins mock."
        ) from fault
    factory.pin_class = OffFirstPin
    return factory
