from cofire.assessment.rule import Flag as Flag
from cofire.assessment.rule import Rule as Rule
from cofire.assessment.verdict import RULES as RULES
from cofire.assessment.verdict import Verdict as Verdict
from cofire.cases import Case as Case
from cofire.cases import evaluate as evaluate
from cofire.cases import sweep as sweep
from cofire.errors import CofireError as CofireError
from cofire.firing.program import Firing as Firing
from cofire.firing.program import Kiln as Kiln
from cofire.firing.program import read_firing as read_firing
from cofire.given import blend as blend
from cofire.given import card as card
from cofire.given import cards as cards
from cofire.given import example_vessel as example_vessel
from cofire.given import kiln as kiln
from cofire.materials.card import Card as Card
from cofire.notebook import fire as fire
from cofire.notebook import job as job
from cofire.notebook import mismatch as mismatch
from cofire.notebook import plan as plan
from cofire.notebook import screen as screen
from cofire.vessel import Vessel as Vessel
from cofire.vessel_file import read_vessel as read_vessel

__version__: str
