"""A web worker has loaded what the first verdict needs before anybody asks for one."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SAYS = """
import sys
from config.wsgi import application
import threading
next(t for t in threading.enumerate() if t.name == "warm").join()
print(*sys.modules)
"""


def test_a_web_worker_loads_ahead_what_the_first_verdict_needs(tmp_path):
    env = {**os.environ, "VAR_DIR": str(tmp_path)}
    ran = subprocess.run([sys.executable, "-c", SAYS], cwd=ROOT, env=env, capture_output=True, text=True, timeout=120)
    assert ran.returncode == 0, ran.stderr
    loaded = set(ran.stdout.split())
    late = {"config.urls", "scipy.special", "maintenance.calc.wiring_findings", "maintenance.calc.boxes"}
    assert late <= loaded
    assert not {"scipy.optimize", "scipy.stats", "matplotlib"} & loaded, "loaded for nobody"
