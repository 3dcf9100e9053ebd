"""The Binder folder is what repo2docker would use, and its pins are what we run. No Docker needed."""

import re
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture
def buildpack(monkeypatch):
    from repo2docker.buildpacks import PythonBuildPack

    monkeypatch.chdir(ROOT)
    pack = PythonBuildPack(base_image="buildpack-deps:noble")
    assert pack.detect(), "repo2docker does not see a Python project"
    return pack


def test_repo2docker_takes_the_binder_folder_and_its_python(buildpack):
    assert buildpack.binder_dir == "binder"
    assert buildpack.python_version.startswith("3.11")


def test_repo2docker_installs_the_pins_and_runs_post_build(buildpack):
    scripts = "\n".join(
        str(script)
        for script in (*buildpack.get_assemble_scripts(), *buildpack.get_post_build_scripts())
    )
    assert "binder/requirements.txt" in scripts and "binder/postBuild" in scripts


def test_post_build_fails_loudly():
    text = (ROOT / "binder" / "postBuild").read_text(encoding="utf-8")
    assert text.startswith("#!/bin/bash") and "set -euo pipefail" in text
    assert (ROOT / "binder" / "postBuild").stat().st_mode & 0o111


@pytest.mark.parametrize("folder", ["binder", "tests"])
def test_pins_are_exact_and_are_what_runs_here(folder):
    lines = [
        line
        for line in (ROOT / folder / "requirements.txt").read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    loose = [
        line
        for line in lines
        if not re.fullmatch(r"[A-Za-z0-9_.\-]+==[A-Za-z0-9_.+!\-]+|-e \.", line)
    ]
    assert loose == []
    wrong = [
        f"{line} but {metadata.version(name)} runs"
        for line in lines
        if "==" in line
        for name, want in [line.split("==")]
        if metadata.version(name) != want
    ]
    assert wrong == []


def test_the_class_gets_the_project_itself():
    assert "-e ." in (ROOT / "binder" / "requirements.txt").read_text(encoding="utf-8").splitlines()
