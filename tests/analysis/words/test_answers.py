"""The answer in one sentence: the right one of three answers, in words a baker reads at once."""

import re

from analysis.words.answers import answer, headline, response_headline

GRADE = 9.0


def syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end not counted; a number counts as one."""
    word = re.sub(r"[^a-z]", "", word.lower())
    if not word:
        return 1
    groups = len(re.findall(r"[aeiouy]+", word))
    if word.endswith("e") and not word.endswith(("le", "ee")) and groups > 1:
        groups -= 1
    return max(groups, 1)


def reading_grade(text: str) -> float:
    """Flesch-Kincaid grade: 0.39 words per sentence + 11.8 syllables per word - 15.59.

    Source: Kincaid et al. 1975, Navy Research Branch Report 8-75 (from memory).
    """
    sentences = max(len(re.findall(r"[.!?](?:\s|$)", text)), 1)
    words = [word for word in text.split() if re.search(r"\w", word)]
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def test_the_grade_tells_plain_from_learned_words():
    assert reading_grade("The cat sat on the mat.") < 1
    learned = "Statistical heterogeneity substantially invalidates conventional homoscedastic interpretation."
    assert reading_grade(learned) > 15


def test_every_canned_study_gets_its_answer(answered):
    wrong = [
        f"{study.name}: {answer(result)} instead of {study.answer}"
        for study, analysis in answered
        for result in analysis.responses
        if not study.said and answer(result) != study.answer
    ]
    assert wrong == []
    assert {study.answer for study, _ in answered} == {"mattered", "too small", "cannot tell"}
    assert len(answered) >= 30


def test_the_variable_that_mattered_leads(answered):
    for study, analysis in answered:
        if study.first:
            assert analysis.findings[0].variables == study.first, study.name
            assert study.first[0] in headline(analysis).lower()


def test_the_wording_follows_the_answer(answered):
    for study, analysis in answered:
        said = headline(analysis).lower()
        assert study.said in said
        if study.said:
            continue
        assert ("cannot tell" in said) == (study.answer == "cannot tell"), (study.name, said)
        assert ("smaller than" in said) == (study.answer == "too small"), (study.name, said)


def test_headlines_read_easily(answered):
    hard = [
        f"{grade:.1f}: {said}"
        for _, analysis in answered
        for result in analysis.responses
        if (grade := reading_grade(said := response_headline(result))) > GRADE
    ]
    assert hard == []


def test_a_dose_headline_names_the_amount_to_use(answered):
    by_name = {study.name: headline(analysis) for study, analysis in answered}
    assert "use 1.1 to 2.1 % flour of soda" in by_name["rise turns at 1.6 % soda"]
    assert "levels off" in by_name["rise levels off at 1.4 % soda"]
    assert "may lie beyond the most that was baked" in by_name["rise goes on beyond the range"]
    assert all(acid in by_name["one curve per acid"] for acid in ("lemon juice", "yogurt", "cream of tartar"))


def test_the_true_best_dose_lies_in_the_recommended_range(answered):
    _, analysis = next(pair for pair in answered if pair[0].name == "one curve per acid")
    truth = {"lemon juice": 1.0, "yogurt": 1.6, "cream of tartar": 2.2}
    for curve in analysis.responses[0].family.dose.curves:
        assert curve.recommended.dose <= truth[curve.level] <= curve.recommended.as_good_to


def test_each_response_has_its_own_sentence(answered):
    _, analysis = answered[0]
    assert headline(analysis) == response_headline(analysis.responses[0])
