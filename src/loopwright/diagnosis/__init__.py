"""From a test to a judgement: priors over vehicles, likelihood, posterior, verdict, explanation, next check."""

from loopwright.diagnosis.engine import judge
from loopwright.diagnosis.judgement import Judgement

__all__ = ["Judgement", "judge"]
