"""docker-compose.yml against the Compose specification (the schema that the package check-jsonschema carries)."""

import subprocess
import sys
from pathlib import Path

import yaml

_FILE = Path(__file__).parents[2] / "docker-compose.yml"


def test_the_compose_file_follows_the_compose_specification():
    done = subprocess.run(
        [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec", str(_FILE)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_the_image_runs_without_root_and_without_new_privileges():
    service = yaml.safe_load(_FILE.read_text())["services"]["tunroom"]
    assert "USER tunroom" in service["build"]["dockerfile_inline"]
    assert service["cap_drop"] == ["ALL"]
    assert "healthcheck" in service
