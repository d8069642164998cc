"""Does the terminal explain itself?"""

import pytest
from click.testing import CliRunner

from stagectl.cli import main
from stagectl.cli.verbs import VERBS


def help_of(*args: str) -> str:
    result = CliRunner().invoke(main, [*args, "--help"], prog_name="stagectl")
    assert result.exit_code == 0
    return result.stdout


def test_the_help_lists_every_verb_and_the_exit_codes() -> None:
    text = help_of()
    assert [line.split()[0] for line in text.partition("Commands:\n")[2].splitlines()] == list(VERBS)
    assert "3 not known if it happened" in text
    assert max(map(len, text.splitlines())) <= 80
    assert "..." not in text.partition("Commands:")[2], "a sentence is cut off"
    assert "STAGECTL_URL" in text


@pytest.mark.parametrize("verb", list(VERBS))
def test_each_verb_has_a_sentence_and_no_claim_of_a_fault(verb: str) -> None:
    text = help_of(verb)
    assert text.startswith("Usage: stagectl " + verb)
    assert text.splitlines()[2].startswith("  ")
    assert "Error" not in text


def test_no_verb_at_all_shows_the_help_with_exit_2() -> None:
    result = CliRunner().invoke(main, [], prog_name="stagectl")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == help_of()


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_is_made_for_each_shell(shell: str) -> None:
    result = CliRunner().invoke(main, [], prog_name="stagectl", env={"_STAGECTL_COMPLETE": f"{shell}_source"})
    assert result.exit_code == 0
    assert "stagectl" in result.stdout


def test_a_beginning_is_completed_to_the_verbs_that_begin_so() -> None:
    env = {"_STAGECTL_COMPLETE": "bash_complete", "COMP_WORDS": "stagectl ta", "COMP_CWORD": "1"}
    result = CliRunner().invoke(main, [], prog_name="stagectl", env=env)
    assert [line.split(",")[1] for line in result.stdout.splitlines()] == ["takes", "take"]


def test_a_verb_that_is_nearly_right_is_asked_back() -> None:
    result = CliRunner().invoke(main, ["rol"], prog_name="stagectl")
    assert result.exit_code == 2
    assert "Did you mean 'roll'" in result.stderr
