"""One part and one brief in, one `Evaluation` out: the only caller of the rooms below."""

from orient.evaluation.inspected import inspect as inspect
from orient.evaluation.model import Evaluation as Evaluation
from orient.evaluation.safety import check_judged as check_judged
from orient.evaluation.safety import strength_of as strength_of
from orient.evaluation.whole import evaluate as evaluate
from orient.evaluation.whole import rank as rank
from orient.strength.section import CAUTION as LOAD_CAUTION

__all__ = ["LOAD_CAUTION", "Evaluation", "check_judged", "evaluate", "inspect", "rank", "strength_of"]
