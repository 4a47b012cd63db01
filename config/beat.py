"""The clock: what it asks for is in config/settings.py. It says that it is alive, and a broker that is down is one sentence."""

import logging
from typing import Any

from celery.beat import ScheduleEntry, SchedulingError
from celery.beat import Scheduler as InMemory

log = logging.getLogger(__name__)


class Scheduler(InMemory):
    """Celery's own, with a pulse. What could not be asked for is asked for again: the work is in the database.

    When what was asked for last is not kept in a file: the database knows what is due, and of two clocks begun together by
    accident each tore the other's file away and died.
    """

    broker_down = False

    def tick(self, *args: Any, **kwargs: Any) -> float:
        from company.pulses import CLOCK_PULSE

        try:
            CLOCK_PULSE.write()
        except Exception:
            log.exception("The clock could not say that it is alive.")
        # not longer than a pulse apart
        return min(super().tick(*args, **kwargs), 25.0)

    def apply_entry(self, entry: ScheduleEntry, producer: Any = None) -> None:
        try:
            self.apply_async(entry, producer=producer, advance=False)
        except SchedulingError as error:
            if not self.broker_down:
                log.error("The broker takes no message: %s. What is due stays in the database and is asked for again.", error)
            self.broker_down = True
            self._forget_connection()
        else:
            if self.broker_down:
                log.warning("The broker takes messages again.")
            self.broker_down = False

    def _ensure_connected(self) -> Any:
        # Celery's own waits here for the broker, and the clock would seem to have stopped
        return self.connection

    def _forget_connection(self) -> None:
        # both are kept by cached_property; a connection that broke would be tried for ever
        for name in ("producer", "connection"):
            self.__dict__.pop(name, None)
