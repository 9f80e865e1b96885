"""Every random term of the crossed fit can be told in a sentence."""

import pytest

from edgehold.pooling.random_terms import ASSUMED_VARIANCES
from edgehold.results.model.analyses import Spread
from edgehold.results.words.crossed import spread_sentence


@pytest.mark.parametrize("what", [name for name in ASSUMED_VARIANCES if name != "residual"])
def test_every_term_has_words(what):
    told = Spread.model_construct(what=what, state="no number", reason="Too few are met.", typical_high=None, holds="", ln_sd=None)
    assert "Too few are met." in spread_sentence(told)
