"""Reference computations for the tests, by libraries that others keep.

Enters: a subcommand, and its problem as JSON on standard input; or a list of
problems. Leaves: the answer as JSON on standard output; or a list of answers.
A problem that is not understood ends it with a message and status 1.

lstsq   {"design": rows of numbers, "right": numbers, "weights": numbers or none}
        -> {"solution": numbers}, by numpy.linalg.lstsq
huber   the same with "scale": where squares turn into straight lines, in units
        of the right side -> {"solution": numbers}, by
        scipy.optimize.least_squares with loss="huber"
otsu    {"values": numbers} -> {"threshold": number}, by
        skimage.filters.threshold_otsu; what is above it is the brighter class
"""

import json
import sys

import numpy


def system(problem):
    """Design matrix and right side, each row times the root of its weight."""
    design = numpy.array(problem["design"], dtype=float)
    right = numpy.array(problem["right"], dtype=float)
    if design.ndim != 2 or right.shape != design.shape[:1]:
        raise ValueError("the right side needs a number for each row of the design")
    weights = problem.get("weights")
    if weights is not None:
        root = numpy.sqrt(numpy.array(weights, dtype=float))
        if root.shape != right.shape or not numpy.isfinite(root).all():
            raise ValueError("each row needs a weight of 0 or more")
        design, right = design * root[:, None], right * root
    return design, right


def lstsq(problem):
    design, right = system(problem)
    return {"solution": numpy.linalg.lstsq(design, right, rcond=None)[0].tolist()}


def huber(problem):
    from scipy.optimize import least_squares

    design, right = system(problem)
    first = numpy.linalg.lstsq(design, right, rcond=None)[0]
    fit = least_squares(
        lambda solution: design @ solution - right,
        first,
        jac=lambda _: design,
        loss="huber",
        f_scale=float(problem["scale"]),
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    if not fit.success:
        raise ValueError(fit.message)
    return {"solution": fit.x.tolist()}


def otsu(problem):
    from skimage.filters import threshold_otsu

    # whole numbers are counted each for itself, others in 256 bins
    return {"threshold": float(threshold_otsu(numpy.array(problem["values"])))}


COMMANDS = {"lstsq": lstsq, "huber": huber, "otsu": otsu}


def main():
    if len(sys.argv) != 2 or sys.argv[1] not in COMMANDS:
        raise ValueError("one of these, please: " + ", ".join(COMMANDS))
    command = COMMANDS[sys.argv[1]]
    problem = json.load(sys.stdin)
    answer = list(map(command, problem)) if isinstance(problem, list) else command(problem)
    json.dump(answer, sys.stdout, allow_nan=False)


if __name__ == "__main__":
    try:
        main()
    except (ValueError, KeyError, TypeError) as error:
        sys.exit(f"reference.py: {type(error).__name__}: {error}")
