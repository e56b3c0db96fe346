"""`explain` where there is a menu: which one is spoken of, names that nothing bears, JSON."""

from __future__ import annotations

import json
import os
from decimal import Decimal

import pytest

from tests.commands import small
from tests.commands.called import main_ends
from tests.explain.larder import larder

MENU_L = "5.6"


@pytest.fixture
def project(tmp_path, monkeypatch):
    larder(tmp_path, MENU_L)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def explained(monkeypatch, capsys, *words):
    from optimenu.commands.app import app

    with pytest.raises(SystemExit) as ended:
        app(["explain", "plan.toml", "--moves", "20000", *words])
    assert not ended.value.code
    return capsys.readouterr()


def test_the_latest_run_of_the_same_inputs_is_spoken_of(project, monkeypatch, capsys):
    from optimenu.commands.app import app

    before = explained(monkeypatch, capsys).out
    assert "a short plan made just now; it is not written" in before
    assert not (project / "runs").exists()
    with pytest.raises(SystemExit):
        app(["plan", "plan.toml", "--moves", "20000"])
    capsys.readouterr()
    after = explained(monkeypatch, capsys).out
    assert f"The menu of runs{os.sep}plan-001." in after
    config = project / "plan.toml"
    config.write_text(config.read_text().replace("volume_l = 5.6", "volume_l = 5.7"))
    assert "made just now" in explained(monkeypatch, capsys).out
    code = main_ends(monkeypatch, "explain", "plan.toml", "--run", "runs/plan-001")
    assert code == 2
    assert "made from other inputs: plan.toml; plan again" in capsys.readouterr().err
    (project / "runs" / "plan-001" / "record.json").write_text("{}")
    assert main_ends(monkeypatch, "explain", "plan.toml", "--run", "runs/plan-001") == 2
    assert "record.json  cannot be read" in capsys.readouterr().err


def test_a_menu_that_breaks_limits_is_not_spoken_of(project, monkeypatch, capsys):
    from optimenu.commands.app import app

    with pytest.raises(SystemExit):
        app(["plan", "plan.toml", "--moves", "20000"])
    menu = project / "runs" / "plan-001" / "menu.csv"
    menu.write_text("\n".join(menu.read_text().splitlines()[:-1]) + "\n")
    capsys.readouterr()
    assert main_ends(monkeypatch, "explain", "plan.toml") == 5
    assert "It breaks" in capsys.readouterr().err


def test_names_that_nothing_bears_are_all_told_at_once(project, monkeypatch, capsys):
    code = main_ends(monkeypatch, "explain", "plan.toml", "--person", "jun", "--item", "fish_pi")
    assert code == 2
    text = capsys.readouterr().err
    assert 'no person "jun". Did you mean "juno"?' in text
    assert 'no item "fish_pi" in the catalogue. Did you mean "fish_pie"?' in text


def test_an_item_that_the_config_leaves_out(project, monkeypatch, capsys):
    config = project / "plan.toml"
    text = config.read_text().replace('"items.csv"', '"items.csv"\nleave_out = { items = ["fish_pie"] }', 1)
    config.write_text(text)
    assert main_ends(monkeypatch, "explain", "plan.toml", "--item", "fish_pie") == 2
    err = capsys.readouterr().err
    assert "plan.toml:2" in err
    assert "fish_pie is left out by only or leave_out here" in err


def test_json_holds_what_the_screen_says(project, monkeypatch, capsys):
    data = json.loads(explained(monkeypatch, capsys, "--json").out)
    assert data["speaks_of"] == "menu"
    assert float(data["value"]) <= float(data["bound_without_cuts"])
    assert data["limits"][0]["key"]
    assert all(e["place"].startswith("plan.toml:") for e in data["limits"])
    one = json.loads(explained(monkeypatch, capsys, "--json", "--item", "fish_pie").out)
    assert [w["item"] for w in one["items"]] == ["fish_pie"]
    assert one["limits"] == []


def test_replan_searches_again(project, monkeypatch, capsys):
    assert "Menu gains: a search from the menu" in " ".join(
        explained(monkeypatch, capsys, "--replan").out.split()
    )


def test_ctrl_c_while_it_is_told_ends_it_with_a_plain_word(project, monkeypatch, capsys):
    import time

    from optimenu.commands.app import app
    from optimenu.commands.ctrl_c import Asked
    from optimenu.explain import told

    with pytest.raises(SystemExit):
        app(["plan", "plan.toml", "--moves", "20000"])
    monkeypatch.setattr(told, "tell", lambda *_args, **_words: time.sleep(30))
    monkeypatch.setattr(Asked, "times", property(lambda _: 1, lambda _s, _v: None), raising=False)
    assert main_ends(monkeypatch, "explain", "plan.toml") == 130
    assert "stopped before the answer was known: nothing was written" in capsys.readouterr().err


def test_what_a_point_for_one_person_costs_the_others(tmp_path, monkeypatch, capsys):
    small.write_crew(tmp_path)
    monkeypatch.chdir(tmp_path)
    told = explained(monkeypatch, capsys, "--exchange")
    assert "What a point of one person's liking costs the others" in told.out
    assert "asking what more for juno costs the others ..." in told.err
    data = json.loads(explained(monkeypatch, capsys, "--exchange", "--json").out)
    assert [e["person"] for e in data["exchanges"]] == ["juno", "mira", "tor"]
    for e in data["exchanges"]:
        raised = e["others_bound_with_step"]
        assert raised is None or Decimal(raised) <= Decimal(e["others_bound"])
    assert json.loads(explained(monkeypatch, capsys, "--json").out)["exchanges"] == []
