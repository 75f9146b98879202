"""Machine code: the same numbers as plain Python, and never that of an older source."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

import offgrid_sim
from offgrid_sim.compiled import cache_folder, source_key

PACKAGE = Path(offgrid_sim.__file__).parent
TWO_DAYS = """
import sys
import numpy as np
from pathlib import Path
from offgrid_sim.engine.flat import ASK, CLOCK, SKY
from offgrid_sim.engine.loop import STEPS_PER_HOUR, run_one
from offgrid_sim.engine.van_numbers import van_numbers
from offgrid_sim.plan.van import Van

found = []
for chemistry, controller, shape, soc in (
    ("lfp", "mppt", "upright", 0.13), ("agm", "pwm", "chest", 0.3), ("lfp", "mppt", "chest", 0.99),
):
    van = van_numbers(Van.model_validate({
        "solar": [{"panel_w": 300}], "controller": {"kind": controller},
        "battery": {"chemistry": chemistry, "capacity_ah": 60, "initial_soc": soc},
        "fridge": {"shape": shape}, "water": {"fresh_l": 20, "grey_l": 5, "fresh_place": "outside"},
    }))
    random = np.random.default_rng(5)
    clock, sky = np.zeros(48, CLOCK), np.zeros(48, SKY)
    ask = np.zeros(48 * STEPS_PER_HOUR, ASK)
    sun = np.clip(np.sin((np.arange(48) % 24 - 6) / 12 * np.pi), 0, None)
    sky["temp_air_c"] = 3 + 8 * sun
    sky["roof_w_m2"], sky["glass_w_m2"], sky["solar_w_per_w"][:, 0] = 700 * sun, 300 * sun, sun
    sky["pwm_low_a_per_w"][:, 0], sky["pwm_high_a_per_w"][:, 0] = 0.055 * sun, 0.053 * sun
    clock["people"], clock["occupancy"], clock["door_openings"] = 2, 2.0, 0.5
    clock["driving_share"][30], clock["fill_fresh"][31], clock["dump_grey"][31] = 0.5, 1, 1
    ask["vital_w"], ask["normal_w"] = 5, 60 * (random.random(len(ask)) < 0.3)
    ask["draw_l"], ask["grey_l"], ask["heat_share"] = 0.4, 0.3, 0.5
    trace, totals = run_one(van, clock, sky, ask)
    found += [trace.view("f8"), totals.view("f8")]
np.save(sys.argv[1], np.concatenate(found))
"""


def run_python(code, *args, cache, **more_env):
    """Run code in a fresh interpreter; its standard output."""
    env = os.environ | {"OFFGRID_SIM_CACHE": str(cache)} | more_env
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, args)],
        env=env, cwd=more_env["PYTHONPATH"], capture_output=True, text=True, encoding="utf-8",
        timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


@pytest.fixture(scope="module")
def usual_cache():
    """The cache the other tests use, so that nothing is compiled twice."""
    folder = cache_folder()
    return folder.parent.parent if folder else ""


def test_compiled_equals_uncompiled(tmp_path, usual_cache):
    root = PACKAGE.parent
    for name, disable in (("fast", "0"), ("slow", "1")):
        run_python(
            TWO_DAYS, tmp_path / f"{name}.npy", cache=usual_cache, NUMBA_DISABLE_JIT=disable,
            PYTHONPATH=str(root),
        )  # fmt: skip
    fast, slow = np.load(tmp_path / "fast.npy"), np.load(tmp_path / "slow.npy")
    np.testing.assert_allclose(fast, slow, rtol=1e-9, atol=1e-9)


def copy_of_rooms(folder):
    """The files that count for the key, in a package of another place."""
    for room in ("physics", "engine"):
        shutil.copytree(PACKAGE / room, folder / room, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(PACKAGE / "compiled.py", folder)
    return folder


@pytest.mark.parametrize(
    "file", ["physics/battery.py", "engine/hour.py", "engine/flat.py", "compiled.py"]
)
def test_a_changed_line_in_any_compiled_file_changes_the_folder(tmp_path, monkeypatch, file):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path / "cache"))
    package = copy_of_rooms(tmp_path / "package")
    before, folder = source_key(package), cache_folder(package)
    with (package / file).open("a", encoding="utf-8") as text:
        text.write("\n# a changed line\n")
    assert source_key(package) != before
    assert cache_folder(package) != folder


def test_the_same_source_elsewhere_has_the_same_key(tmp_path):
    assert source_key(copy_of_rooms(tmp_path / "package")) == source_key(PACKAGE)


TINY = {
    "physics/__init__.py": "",
    "engine/__init__.py": "",
    "physics/deep.py": """
from offgrid_sim.compiled import compiled
@compiled
def deep(x):
    return x + 1.0
""",
    "engine/top.py": """
from offgrid_sim.compiled import compiled
from offgrid_sim.physics.deep import deep
@compiled
def top(x):
    return 2.0 * deep(x)
""",
}
ASK_TINY = """
from offgrid_sim.compiled import _FOLDER, is_warm
from offgrid_sim.engine.top import top
warm = is_warm()
print(top(1.0), warm, sum(top.stats.cache_hits.values()), _FOLDER is not None)
"""


@pytest.fixture
def tiny(tmp_path):
    """A package of two compiled files under the same name; ``engine/top.py`` is never edited."""
    package = tmp_path / "src" / "offgrid_sim"
    for name, text in TINY.items():
        (package / name).parent.mkdir(parents=True, exist_ok=True)
        (package / name).write_text(text, encoding="utf-8")
    (package / "__init__.py").write_text("", encoding="utf-8")
    for name in ("compiled.py", "user_cache.py"):
        shutil.copy(PACKAGE / name, package)
    return package


def test_stale_machine_code_is_impossible_end_to_end(tiny, tmp_path):
    path = {"PYTHONPATH": str(tiny.parent), "PYTHONDONTWRITEBYTECODE": "1"}
    cache = tmp_path / "cache"
    assert run_python(ASK_TINY, cache=cache, **path) == "4.0 False 0 True"
    assert run_python(ASK_TINY, cache=cache, **path) == "4.0 True 1 True"
    deep = tiny / "physics" / "deep.py"
    deep.write_text(deep.read_text(encoding="utf-8").replace("1.0", "5.0"), encoding="utf-8")
    assert run_python(ASK_TINY, cache=cache, **path) == "12.0 False 0 True"


def test_a_cache_that_cannot_be_written_is_done_without(tiny, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="utf-8")
    path = {"PYTHONPATH": str(tiny.parent), "PYTHONDONTWRITEBYTECODE": "1"}
    assert run_python(ASK_TINY, cache=blocked, **path) == "4.0 False 0 False"
    assert blocked.read_text(encoding="utf-8") == "not a folder"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root writes anywhere")
def test_a_read_only_cache_is_done_without(tiny, tmp_path):
    folder = tmp_path / "read_only"
    folder.mkdir(mode=0o500)
    path = {"PYTHONPATH": str(tiny.parent), "PYTHONDONTWRITEBYTECODE": "1"}
    assert run_python(ASK_TINY, cache=folder, **path) == "4.0 False 0 False"


def test_machine_code_unused_for_a_month_is_removed(tmp_path, monkeypatch):
    monkeypatch.setenv("OFFGRID_SIM_CACHE", str(tmp_path))
    old, recent = tmp_path / "compiled" / "old", tmp_path / "compiled" / "recent"
    for folder, age_days in ((old, 40), (recent, 5)):
        folder.mkdir(parents=True)
        then = time.time() - age_days * 86400
        os.utime(folder, (then, then))
    kept = cache_folder(PACKAGE)
    assert kept.is_dir()
    assert recent.is_dir()
    assert not old.exists()
