"""What the engine is to send and to listen to."""

from fluxbench.session._engine_host import EngineHost
from fluxbench.session._pages import Desk
from fluxbench.signals import Silence

IDLE_TONES_HZ = (1000.0,)


def set_wanted(host: EngineHost, desk: Desk | None) -> None:
    """Have the engine do what the line-up wants, or wait at 1 kHz where there is none."""
    if desk is None:
        host.set(Silence(), IDLE_TONES_HZ)
        return
    lineup = desk.lineup
    # Once it has ended, the meters are those of a bench with nothing to do.
    tones_hz = IDLE_TONES_HZ if lineup.view.closed else tuple(map(float, lineup.tones))
    host.set(lineup.signal, tones_hz, lineup.wanted_stretch, lineup.cables, desk.trims)
