"""The house rules of who may call whom, as .importlinter states them."""

from pathlib import Path

from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

ROOT = Path(__file__).parents[2]


def test_every_import_keeps_the_house_rules(capsys, monkeypatch):
    monkeypatch.chdir(ROOT)
    status = lint_imports(config_filename=str(ROOT / ".importlinter"), no_cache=True)
    assert status == EXIT_STATUS_SUCCESS, capsys.readouterr().out


def test_every_room_without_apps_is_named_as_pure():
    contracts = (ROOT / ".importlinter").read_text()
    pure = contracts.split("[importlinter:contract:pure]")[1].split("forbidden_modules")[0]
    rooms = [path.parent.name for path in (ROOT / "registry").glob("*/__init__.py")]
    unnamed = [
        room
        for room in rooms
        if not (ROOT / "registry" / room / "apps.py").exists() and f"registry.{room}\n" not in pure
    ]
    assert unnamed == []
