"""docs/checking-a-box.md says what the cases say."""

from loomproof.boxcheck import publish
from loomproof.boxcheck.catalogue import CASES
from loomproof_wire.messages import Refusal


def test_the_page_is_not_stale():
    assert publish.main(check=True) == 0


def test_a_changed_case_makes_it_stale(monkeypatch, capsys):
    monkeypatch.setattr(publish, "CASES", CASES[1:])
    assert publish.main(check=True) == 1
    assert "publish" in capsys.readouterr().err


def test_every_case_and_refusal_is_on_it():
    text = publish.page()
    assert all(f"| `{case.key}` |" in text for case in CASES)
    assert all(f"| `{reason.name.lower()}` | `" in text for reason in Refusal)
