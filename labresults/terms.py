"""The vocabulary: every word that is stored or printed, once, with where it comes from.

Sources: EPA Method 6010D (2018) sections 3 and 9 for the roles of a position; ISO/IEC 17025:2017 for the acts;
GUM and VIM for the words of measurement; ISO 80000-1:2009 annex B for the rounding rules.
"""

from enum import StrEnum


class Role(StrEnum):
    """What stands at a position of a run (EPA 6010D, section 9)."""

    CALIBRATION_BLANK = "calibration blank"
    CALIBRATION_STANDARD = "calibration standard"
    INITIAL_VERIFICATION = "initial calibration verification"
    CONTINUING_VERIFICATION = "continuing calibration verification"
    BLANK_CHECK = "calibration blank check"
    LOW_LEVEL_CHECK = "low-level check"
    METHOD_BLANK = "method blank"
    CONTROL_SAMPLE = "laboratory control sample"
    REFERENCE_MATERIAL = "certified reference material"
    DUPLICATE = "laboratory duplicate"
    SPIKE = "matrix spike"
    SERIAL_DILUTION = "serial dilution"
    SAMPLE = "sample"
    RINSE = "rinse"
    INTERFERENCE_CHECK = "interference check"
    LINEAR_RANGE_CHECK = "linear range check"
    POST_DIGESTION_SPIKE = "post-digestion spike"
    STANDARD_ADDITION = "standard addition"


CALIBRATING = frozenset({Role.CALIBRATION_BLANK, Role.CALIBRATION_STANDARD})
"""Roles that the curve is fitted to."""

BRACKETING = frozenset({Role.INITIAL_VERIFICATION, Role.CONTINUING_VERIFICATION, Role.BLANK_CHECK})
"""Roles that say whether the curve still holds: they speak for what lies between them (EPA 6010D 9.5)."""


class Curve(StrEnum):
    """Shape of a calibration function, signal as a function of concentration."""

    LINE = "straight line"
    LINE_THROUGH_ZERO = "straight line through zero"
    QUADRATIC = "quadratic"


class Weighting(StrEnum):
    """Weight of a point in the fit: of concentration x, or of the spread s of its replicates."""

    NONE = "unweighted"
    INVERSE_X = "1/x"
    INVERSE_X2 = "1/x²"
    INVERSE_VARIANCE = "1/s²"
    ABSOLUTE = "1/s², absolute"  # s is taken as known: residuals do not scale the uncertainties


WEIGHTING_IN_WORDS = {
    Weighting.NONE: "unweighted",
    Weighting.INVERSE_X: "weighted by the concentration, 1/x",
    Weighting.INVERSE_X2: "weighted by the square of the concentration, 1/x²",
    Weighting.INVERSE_VARIANCE: "weighted by the spread of the replicates, 1/s²",
    Weighting.ABSOLUTE: "weighted by the spread of the replicates taken as known, 1/s²",
}
"""How a weighting is said where there is room for words."""


class FitOn(StrEnum):
    """What a calibration function is fitted to."""

    MEANS = "means of replicates"
    REPLICATES = "single replicates"


class SolutionKind(StrEnum):
    """How a portion became a solution; it decides the solution's unit and the way back to the sample."""

    MASS_IN_VOLUME = "mass made up to volume"  # mg/L in the solution, mg/kg in the sample
    VOLUME_IN_VOLUME = "volume made up to volume"  # mg/L in the solution, mg/L in the sample
    MASS_IN_MASS = "mass diluted by mass"  # mg/kg in the solution, mg/kg in the sample


class State(StrEnum):
    """The state of a portion when it was weighed (ISO 1170 and usual practice)."""

    AS_RECEIVED = "as received"
    AIR_DRY = "air-dry"
    DRIED_105 = "dried at 105 °C"
    ASHED = "ashed"


class Basis(StrEnum):
    """What a mass fraction is reported on."""

    AS_RECEIVED = "as received"
    DRY = "dry basis"


class Measure(StrEnum):
    """What a criterion looks at."""

    RECOVERY = "recovery, %"  # 100 × found / expected
    DIFFERENCE = "relative difference, %"  # 100 × |a − b| / mean, on concentrations (EPA 6010D 9.7)
    SPIKE_RECOVERY = "spike recovery, %"  # 100 × (spiked − unspiked) / added
    DILUTION_DIFFERENCE = "dilution difference, %"  # 100 × |original − diluted × factor| / original
    TIMES_QUANTIFICATION_LIMIT = "times the quantification limit"  # |found| / quantification limit, in the solution
    ERROR_RATIO = "difference over its expanded uncertainty"  # |found − certified| / U of the difference
    INTERNAL_STANDARD = "internal standard recovery, %"  # 100 × signal / mean signal at the calibration solutions
    SPREAD = "replicate spread, %"  # 100 × standard deviation of the replicates / their mean
    CORRELATION = "correlation coefficient"  # of the curve
    STANDARD_ERROR = "relative standard error, %"  # of the curve (EPA 6010D 10.7)
    READ_BACK = "read-back error, %"  # 100 × |read back − true| / true of each calibration standard
    LACK_OF_FIT = "lack of fit, probability"  # of so large an F, were the shape of the curve right
    ABSOLUTE_DIFFERENCE = "difference, quantification limits"  # |a − b| / quantification limit
    HORWITZ_RATIO = "difference over the expected one"  # RSD of the pair / that of Horwitz at this content


OF_CURVES = frozenset({Measure.CORRELATION, Measure.STANDARD_ERROR, Measure.LACK_OF_FIT})
"""Measures that look at a curve and not at a position; their outcomes stand at its highest standard in use."""

KEPT_WHEN_FAILED = frozenset({Measure.SPREAD})
"""Measures of every reading: only outcomes that are outside become rows, the others are counted."""

OF_POSITIONS = frozenset({Measure.INTERNAL_STANDARD})
"""Measures of a whole position: a failure, which stands at one line, speaks for every line of what it touches."""

OF_READINGS = frozenset({Measure.SPREAD, Measure.INTERNAL_STANDARD})
"""Measures of a reading itself: for the reach of a sample they speak for the position that was read, not its parent."""


class Reach(StrEnum):
    """What a failed control sample speaks for."""

    SAMPLE = "the sample"
    BRACKET = "the bracket"
    BATCH = "the preparation batch"
    RUN = "the run"


class Verdict(StrEnum):
    """How a control sample stands against its criterion."""

    WITHIN = "within"
    CLOSE = "close"
    OUTSIDE = "outside"
    NOT_JUDGED = "not judged"


class Mark(StrEnum):
    """What a reader must know beside a result. Decided on unrounded values."""

    BELOW_DETECTION = "below detection limit"
    BELOW_QUANTIFICATION = "between detection and quantification limit"
    OVER_RANGE = "over range"
    CONTROL_FAILED = "a control sample failed"
    NO_VALUE = "no value"
    CARRY_OVER = "read after a very high one"
    LINES_DISAGREE = "its lines disagree"


class BlankRule(StrEnum):
    """What a method does with its method blank (EPA 6010D judges and never subtracts)."""

    JUDGE = "judged, not subtracted"
    SUBTRACT = "subtracted"


class DriftRule(StrEnum):
    """How a drift that the continuing verifications show is corrected between them (common practice, no source)."""

    NONE = "not corrected"
    BY_POSITION = "linear in position between checks"
    BY_TIME = "linear in time between checks"


class UncertaintyRule(StrEnum):
    """Where the uncertainty of a result comes from."""

    STATED = "a stated function of the concentration"
    BUDGET = "combined from its sources"  # JCGM 100:2008 (GUM), 5.1.2


class LimitQuantity(StrEnum):
    """Which of the three a limit is (L. A. Currie, IUPAC Recommendations 1995, Pure Appl. Chem. 67, 1699)."""

    CRITICAL = "critical value"
    DETECTION = "detection limit"
    QUANTIFICATION = "quantification limit"


class LimitProcedure(StrEnum):
    """How a limit was found, by name."""

    BLANKS = "standard deviation of blanks"  # 3 s and 10 s
    SPIKED_AND_BLANKS = "40 CFR 136 Appendix B"
    REAGENT_BLANKS = "EPA 6010D, 9.3"
    CALIBRATION = "DIN 32645, from the calibration"
    BY_HAND = "set by hand"


class RepeatCause(StrEnum):
    """Why a position is proposed to be measured again."""

    OVER_RANGE = "over range"
    SATURATED = "saturated"
    UNDER_RANGE = "diluted below the quantification limit"
    HIGH_SPREAD = "replicates spread"
    FAILED_CHECK = "a control sample failed"
    INTERNAL_STANDARD = "internal standard outside its window"
    CARRY_OVER = "read after a very high one"
    LINES_DISAGREE = "its lines disagree"
    NOT_READ = "not read"


class WayIn(StrEnum):
    """How a file of readings came in."""

    BROWSER = "browser"
    COMMAND = "command"
    PROGRAM = "program"
    FOLDER = "watched folder"


class Tie(StrEnum):
    """Which way an exact half goes (ISO 80000-1:2009 annex B, rules A and B)."""

    HALF_EVEN = "half to even"  # rule A
    HALF_UP = "half up"  # rule B: away from zero in magnitude


class NotMeasured(StrEnum):
    """A result in words: counts as delivered work and has a reason."""

    INSUFFICIENT = "insufficient sample"
    NOT_RECEIVED = "not received"
    DESTROYED = "destroyed"
    NOT_REQUESTED = "not requested"
    INTERFERENCE = "interference"


class Task(StrEnum):
    """What a person is authorised for, method by method (ISO/IEC 17025:2017, 6.2.6)."""

    PREPARE = "prepare"
    MEASURE = "measure"
    REVIEW = "review"
    ISSUE = "issue"
    OPINE = "state opinions"  # 7.8.7.1: only people authorised for it


class SubsampleKind(StrEnum):
    """What a sample becomes on its way to a test portion (common practice, no source)."""

    CONTAINER = "container"
    DRIED = "dried"
    CRUSHED = "crushed"
    SPLIT = "split"
    PULP = "pulp"
    REJECT = "reject"
    FILTRATE = "filtrate"


class Seals(StrEnum):
    """What became of the client's seals on the way (common practice, no source)."""

    NONE = "no seals"
    INTACT = "intact"
    BROKEN = "broken"


class Hazard(StrEnum):
    """What a sample may do to whoever opens it. The laboratory's own risk assessment and local codes decide."""

    ASBESTOS = "may hold asbestos"
    RADIOACTIVE = "naturally radioactive"
    CYANIDE = "cyanide leach: never meets acid"
    FLAMMABLE = "flammable"
    CORROSIVE = "corrosive"
    TOXIC = "toxic"
    BIOLOGICAL = "may carry germs"


HAZARD_CAUTIONS = {
    Hazard.ASBESTOS: "Keep the container closed and the material damp. Open, crush and sieve only where fibres are"
    " drawn off and people are protected and licensed for it.",
    Hazard.RADIOACTIVE: "Keep dust down, store it apart, and measure the dose rate before it is opened or split.",
    Hazard.CYANIDE: "Acid sets hydrogen cyanide free, a deadly gas. Keep the solution alkaline, away from every acid,"
    " and work with a second person and a gas alarm.",
    Hazard.FLAMMABLE: "Keep it from heat, sparks and hot plates, and earth large containers before pouring.",
    Hazard.CORROSIVE: "Wear goggles and gloves that stand it; have water at hand before it is opened.",
    Hazard.TOXIC: "Open it in the hood, with gloves, and keep food and bare skin away.",
    Hazard.BIOLOGICAL: "Treat it as carrying germs until it was digested: gloves, no spray, a clean bench afterwards.",
}
"""What is said at once when a hazard is named, in the laboratory's own words (common practice, no source)."""


class Custody(StrEnum):
    """What a change of holder or place was (common practice, no source)."""

    RECEIVED = "received"
    MOVED = "moved"
    HANDED_OVER = "handed over"
    RETURNED = "returned to the client"
    DISPOSED = "disposed of"


class Correction(StrEnum):
    """What of a logged delivery was corrected."""

    ADDED = "added later"
    STRUCK = "struck"
    MOVED = "moved to another submission"
    IDENTIFICATION = "client's own identification"


class Concern(StrEnum):
    """What the review of a request found before it was accepted (ISO/IEC 17025:2017, 7.1)."""

    MATRIX = "the method does not serve the matrix"
    TOO_LITTLE = "too little for the test portions"
    HOLDING_TIME = "the holding time has passed"
    METHOD_EXPIRED = "no version of the method is valid"


class Placing(StrEnum):
    """Where control samples stand in a preparation batch."""

    START = "at the start"
    SPREAD = "spread evenly"
    RANDOM = "at random, by a recorded seed"


class MassLossKind(StrEnum):
    """A determination by weighing before and after heating (EPA 160.3; usual practice)."""

    MOISTURE = "moisture at 105 °C"
    IGNITION = "loss on ignition"


class OverrideKind(StrEnum):
    """What a person with the authority for it lets go on, by name and with a reason."""

    EXPIRED_LOT = "expired lot"
    OVERDUE_EQUIPMENT = "overdue equipment"


class Repeat(StrEnum):
    """Four repeats that are not the same; each keeps its parent."""

    NONE = "first"
    RE_READ = "re-read"
    RE_DILUTE = "re-dilute"
    RE_DIGEST = "re-digest"
    RE_SAMPLE = "re-sample"


class MaterialKind(StrEnum):
    """What a lot is a lot of."""

    STANDARD = "standard solution"
    REFERENCE_MATERIAL = "reference material"
    REAGENT = "reagent"


class EquipmentKind(StrEnum):
    """What must be calibrated or checked, and is overdue when it was not."""

    BALANCE = "balance"
    SPECTROMETER = "spectrometer"
    PIPETTE = "pipette"
    OVEN = "oven"


class Decision(StrEnum):
    """What a reviewer says of results."""

    APPROVE = "approved"
    REFUSE = "refused"
    SEND_BACK = "sent back"


class DecisionRule(StrEnum):
    """How the uncertainty enters a statement of conformity (ISO/IEC 17025:2017, 7.8.6; ILAC-G8:09/2019, 4.2)."""

    SIMPLE = "simple acceptance"  # guard band w = 0
    GUARDED = "guarded by U"  # w = U
    FOUR_STATEMENTS = "four statements with U"  # w = U on both sides of the limit
    BY_RISK = "guard band for a chosen risk"  # w = z u, JCGM 106:2012, 8.3
    PROBABILITY = "probability of conformity"  # JCGM 106:2012, 7


class LimitSide(StrEnum):
    """Which side of a limit is allowed."""

    AT_MOST = "at most"
    AT_LEAST = "at least"


class DerivedForm(StrEnum):
    """How a derived result comes from measured ones: each form is a formula, its terms are data."""

    SUM = "sum of terms"  # Σ a x
    PERCENT = "part of a sum, %"  # 100 Σ a x / Σ b y
    ROOT_RATIO = "part over the root of half a sum"  # Σ a x / √(Σ b y / 2), the sodium adsorption ratio
    DRY = "on dry basis"  # x / (1 − moisture)
    WEIGHTED_MEAN = "mean over a set, weighted by mass"  # Σ m x / Σ m


class BelowInSum(StrEnum):
    """What a term below its limit counts as."""

    ZERO = "as zero"
    LIMIT = "as its limit"
    RANGE = "as a range from zero to its limit"


class PlausibilityKind(StrEnum):
    """What must fit together in one sample, whatever measured it (common practice, no source)."""

    DISSOLVED_AND_TOTAL = "dissolved is not above total"
    OXIDE_TOTAL = "the oxides add up"
    SAME_BY_TWO = "one element by two methods agrees"
    BESIDE_EARLIER = "fits the client's earlier samples"
    DUPLICATES = "duplicates agree"
    RATIO = "ratio of two elements"


class NonconformingAct(StrEnum):
    """What was done about nonconforming work (ISO/IEC 17025:2017, 7.10.1)."""

    HOLD = "held"
    RELEASE = "released"
    JUDGE = "judged acceptable or not"
    NOTIFY = "clients told"
    AMEND = "certificates amended"
    WITHDRAW = "certificates withdrawn"
    CORRECT = "corrective action"
    CLOSE = "closed"


class DoubtKind(StrEnum):
    """What can be doubtful, so that everything that it touched is asked for."""

    LOT = "lot"  # with every lot made from it
    MATERIAL = "material"  # every lot of it
    EQUIPMENT = "equipment"
    RUN = "run"
    METHOD = "method"  # all versions, or one: AR-7 v2
    BATCH = "batch"
    PERSON = "person"
    PERIOD = "period"


class NoticeKind(StrEnum):
    """Why a client is told of a certificate."""

    ISSUED = "issued"
    AMENDED = "amended"
    WITHDRAWN = "withdrawn"
    NONCONFORMING = "nonconforming work"


class DayPart(StrEnum):
    """How much of a day is worked in the laboratory's calendar (common practice, no source)."""

    OPEN = "open"
    HALF = "half a day"
    CLOSED = "closed"


class Station(StrEnum):
    """The five stations of the sample's path."""

    RECEPTION = "reception"
    PREPARATION = "preparation"
    RUNS = "runs"
    REVIEW = "review"
    CERTIFICATES = "certificates"
