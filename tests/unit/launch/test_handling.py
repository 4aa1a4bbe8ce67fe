"""How many people a raft needs on the bank, and by what means."""

from geoplan.launch.handling import raft_handling
from geoplan.settings_works import LaunchSettings


def test_light_rafts_are_carried_heavier_ones_pulled_and_the_heaviest_winched() -> None:
    given = LaunchSettings(crew=4)
    light = raft_handling(20, 15, given)
    assert (light.carriers, light.people, light.by) == (2, 2, "carried")
    assert raft_handling(24, 15, given).carriers == 3
    heavy = raft_handling(25, 15, given)
    assert (heavy.carriers, heavy.by, heavy.people) == (None, "pulled on skids or rollers", 2)
    assert raft_handling(50, 15, given).people == 4
    assert raft_handling(400, 15, given).by == "winch or vehicle"
    assert raft_handling(1, 0, given).people == 2  # nobody works alone
