"""The key: made once, kept for this user alone, never half-written."""

from __future__ import annotations

import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from bridge.errors import InputError
from bridge.web.key import LETTERS, NAME, Key, kept_key, made_key


def test_a_key_is_made_once_and_kept_for_this_user_alone(tmp_path: Path) -> None:
    folder = tmp_path / "state" / "tetherlight"
    first = kept_key(folder)
    assert kept_key(folder).text == first.text
    assert stat.S_IMODE((folder / NAME).stat().st_mode) == 0o600
    assert [path.name for path in folder.iterdir()] == [NAME], "nothing half-written stays"


def test_a_key_that_others_could_read_is_closed_to_them(tmp_path: Path) -> None:
    kept_key(tmp_path)
    (tmp_path / NAME).chmod(0o644)
    kept_key(tmp_path)
    assert stat.S_IMODE((tmp_path / NAME).stat().st_mode) == 0o600


def test_programs_that_start_at_once_get_one_key(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        texts = {key.text for key in pool.map(lambda _: kept_key(tmp_path), range(32))}
    assert len(texts) == 1


def test_keys_differ_and_are_of_letters_that_are_told_apart() -> None:
    keys = {made_key().text for _ in range(200)}
    assert len(keys) == 200
    assert set("".join(keys)) - {"-"} == set(LETTERS)  # 4,000 letters: each of the 31 is there but by a wonder
    assert not set(LETTERS) & set("ilo01")


def test_a_key_opens_however_it_is_typed() -> None:
    key = made_key()
    for typed in (
        key.text,
        key.text.upper(),
        f"  {key.text} \n",
        key.text.replace("-", ""),
        key.text.replace("-", " "),
    ):
        assert key.opens(typed)
    for typed in ("", key.text[:-1], key.text + "a", made_key().text, "\ud800", key.cookie):
        assert not key.opens(typed)


def test_the_cookie_is_of_the_key_and_does_not_tell_it() -> None:
    key = made_key()
    assert Key(key.text).cookie == key.cookie
    assert key.knows(key.cookie)
    assert key.text.replace("-", "") not in key.cookie
    for cookie in (None, "", key.text, made_key().cookie, key.cookie.upper(), "\udcff"):
        assert not key.knows(cookie)


@pytest.mark.parametrize("text", ["", "abc", "aaaa-bbbb-cccc-dddd-eee1", "aaaa-bbbb-cccc-dddd-eeee-ffff", "\xff"])
def test_a_damaged_file_is_named_with_what_to_do(text: str, tmp_path: Path) -> None:
    (tmp_path / NAME).write_bytes(text.encode("latin-1"))
    with pytest.raises(InputError, match=NAME):
        kept_key(tmp_path)


def test_a_folder_that_is_a_file_is_an_input_error(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("")
    with pytest.raises(InputError, match="could not be kept"):
        kept_key(tmp_path / "state")
