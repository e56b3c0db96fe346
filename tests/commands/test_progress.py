"""What the live line says of a solve."""

from __future__ import annotations

import threading

import pytest

from optimenu.commands import progress
from optimenu.commands.ctrl_c import EXIT_CODE, Asked
from optimenu.commands.progress import Watch, figures, interruptible
from optimenu.errors import Interrupted
from optimenu.solve.halt import Halt
from optimenu.solve.outcome import Progress


def test_part_value_bound_and_gap_are_told_as_far_as_they_are_known() -> None:
    assert figures(Progress("merge")) == []
    assert figures(Progress("search", 0.25, None, 1.0)) == ["25%", "bound 1.0000"]
    # (0.8 - 0.78) / 0.8 = 2.5 %
    said = figures(Progress("search", 0.5, 0.78, 0.8, 4_000_000))
    assert said == ["50%", "value 0.7800", "bound 0.8000", "gap 2.50%"]


def test_the_signal_and_the_error_tell_a_shell_the_same() -> None:
    # the module of the signal is loaded before that of the errors, so it states the number itself
    assert Interrupted.exit_code == EXIT_CODE


def test_elsewhere_than_on_a_terminal_a_phase_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    with Watch() as watch:
        watch.phase("compile", Progress("compile"))
        watch.phase("search", Progress("search", 0.1, 0.5, 0.8, 1000))
        watch.phase("search", Progress("search", 0.2, 0.6, 0.8, 2000))
    assert capsys.readouterr().err.splitlines() == [
        "compiling the search (once on this machine) ...",
        "looking for a menu ...",
    ]
    assert set(watch.times) == {"compile", "search"}


def test_the_live_line_has_moves_a_second_and_the_time() -> None:
    watch = Watch()
    watch.phase("search", Progress("search", 0.0, None, 0.8, 1_000_000))
    now = watch._since + 2.0
    text = watch._figures(Progress("search", 0.5, 0.78, 0.8, 5_000_000), now)
    # 4 million moves in two seconds
    assert "2.0 million moves/s" in text
    assert text.endswith(" s")


@pytest.mark.parametrize(("phase", "times"), [("bound", 1), ("search", 2)])
def test_ctrl_c_ends_at_once_what_has_no_menu_yet_and_the_second_time_whatever_it_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], phase: str, times: int
) -> None:
    begun, over = threading.Event(), threading.Event()

    def endless(_case: object, _options: object, tell: object, _halt: object) -> None:
        tell(phase)
        begun.set()
        over.wait()

    asked = Asked(Halt())
    monkeypatch.setattr(progress, "plan", endless)

    def ask() -> None:
        begun.wait()
        for _ in range(times):
            asked.times += 1
            # long enough to be looked at in between
            over.wait(3 * progress.LOOK)

    asking = threading.Thread(target=ask)
    asking.start()
    with Watch() as watch, pytest.raises(Interrupted, match="there is none yet"):
        interruptible(None, None, watch, asked._halt, asked)
    over.set()
    asking.join()
    assert asked.times == times
    assert ("stopping; the best menu so far is kept" in capsys.readouterr().err) == (times == 2)


def test_what_is_done_while_one_looks_is_the_answer() -> None:
    """The work ends just after a wait that was too short: no look may make a fault of it."""
    go = threading.Event()

    def look() -> None:
        go.set()

    def work() -> str:
        go.wait()
        return "done"

    assert progress.meanwhile(work, look) == "done"

    def fails() -> None:
        raise TimeoutError("its own")

    with pytest.raises(TimeoutError, match="its own"):
        progress.meanwhile(fails, look)
