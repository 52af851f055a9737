"""The shuffle is specified: the same draws on every platform, today and in ten years."""

import hashlib
from collections import Counter
from itertools import permutations

import pytest
from scipy.stats import chisquare

from analysis.designs.codes import USABLE, blind_codes
from analysis.designs.shuffle import ALGORITHM, LARGEST_SEED, Stream
from analysis.errors import PlanError


def test_golden_vectors():
    # Written down once; a change here would make old bench sheets irreproducible.
    assert ALGORITHM == "sha256-counter fisher-yates 1"
    assert Stream(1, "run order").shuffled(range(10)) == [8, 3, 2, 9, 0, 5, 1, 7, 6, 4]
    assert blind_codes(8, seed=20261125) == ("541", "411", "722", "175", "454", "320", "267", "588")


def test_words_are_the_sha256_digests_of_the_documented_text():
    digest = hashlib.sha256(b"sha256-counter fisher-yates 1|7|run order|0").digest()
    next_digest = hashlib.sha256(b"sha256-counter fisher-yates 1|7|run order|1").digest()
    words = [int.from_bytes(digest[at : at + 8], "big") for at in (0, 8, 16, 24)]
    words.append(int.from_bytes(next_digest[:8], "big"))
    stream = Stream(7, "run order")
    assert [stream.below(1000) for _ in range(5)] == [word % 1000 for word in words]


def test_words_that_would_favour_small_numbers_are_thrown_away():
    n = 2**63 + 1  # 2**64 mod n = 2**63 - 1, so almost half of the words must be refused
    stream = Stream(3, "rejection")
    draws = [stream.below(n) for _ in range(200)]
    raw = Stream(3, "rejection")
    words = (word for word in iter(lambda: next(raw._words), None))
    assert draws == [word for word, _ in zip((w for w in words if w < n), range(200), strict=False)]


def test_every_order_of_four_is_equally_likely():
    counts = Counter(tuple(Stream(seed, "even").shuffled("abcd")) for seed in range(4800))
    assert set(counts) == set(permutations("abcd"))
    assert chisquare(list(counts.values())).pvalue > 0.001


def test_a_purpose_has_its_own_draws():
    assert Stream(5, "codes").shuffled(range(20)) != Stream(5, "run order").shuffled(range(20))


@pytest.mark.parametrize("seed", [-1, LARGEST_SEED + 1, True])
def test_a_seed_that_no_database_can_keep_is_refused(seed):
    with pytest.raises(PlanError, match="seed"):
        Stream(seed, "run order")


def test_codes_that_people_notice_are_left_out():
    assert not {"000", "007", "099", "111", "666", "123", "321", "789", "210", "100", "500", "112", "911"} & set(USABLE)
    assert len(USABLE) == 865
    assert all(len(code) == 3 and code.isdigit() and code >= "101" for code in USABLE)


def test_codes_never_stand_in_the_order_of_baking():
    for seed in range(3000):
        codes = list(blind_codes(3, seed=seed))
        assert codes not in (sorted(codes), sorted(codes, reverse=True))


def test_more_runs_than_codes_are_refused():
    assert len(set(blind_codes(865, seed=1))) == 865
    with pytest.raises(PlanError, match="blind codes"):
        blind_codes(866, seed=1)
