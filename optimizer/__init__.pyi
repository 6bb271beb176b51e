from optimizer.errors import Infeasible as Infeasible
from optimizer.errors import InputError as InputError
from optimizer.job import Options as Options
from optimizer.job import plan as plan
from optimizer.job import run as run
from optimizer.job.frames import frontier as frontier
from optimizer.job.frames import profile as profile
from optimizer.job.frames import splits as splits
from optimizer.job.frames import worth as worth
from optimizer.physics import Setup as Setup
from optimizer.report import write_report as write_report
from optimizer.scenario.catalogue_file import read_catalogue as read_catalogue
from optimizer.scenario.evidence_file import read_evidence as read_evidence
from optimizer.scenario.rider_file import read_rider as read_rider
from optimizer.scenario.scenario import read_scenario as read_scenario
from optimizer.scenario.season_file import read_season as read_season
from optimizer.scenario.track_file import read_course as read_course
from optimizer.scenario.weather import weather as weather
from optimizer.seasons import run_season as run_season
from optimizer.seasons.frames import season as season

__all__ = [
    "Infeasible", "InputError", "Options", "Setup", "frontier", "plan", "profile",
    "read_catalogue", "read_course", "read_evidence", "read_rider", "read_scenario",
    "read_season", "run", "run_season", "season", "splits", "weather", "worth", "write_report",
]

__version__: str
