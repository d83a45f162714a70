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
cards   {"per_row", "pitch_mm", "rounds", "pegs": [places of peg holes, in rows],
        "peg_reach": rows, "cards": [{"dark", "open": levels, "samples": lines of
        levels, "rows": bits of what each row should show}]} -> {"median_us":
        number, "cards": [{"rows": bits of the holes found, "right": whether they
        are those of the deck, "plane": [shift in mm, stretch, skew]}]}: the
        plainest reading of whole cards, and how long it takes within this process
draft   {"text": a weaving draft} -> {"sections": names, "shafts", "ends", "picks":
        numbers, "rising": yes or no, "threading", "liftplan": lists of shafts, one an
        end or a pick, "again": the same draft as the library writes it}, by the
        INI reader and writer of Python's own library, configparser
making  {"paper": a file of the colour of each square, the uppermost line first,
         "rows": a file of the rows that we cut, "columns", "lines", "rounds"} ->
         {"median_us", "same": whether these are the same rows}: the plainest making
         of cards from two satins
stacks  {"rounds", "limit": most wrong positions of a card, "deck": {"holes": a
        card each, a list of 0 and 1 a row, "doubtful": the same}, "stacks": [as
        the deck]} -> {"median_us": a number each, "cards": a list each: the card of
        every place, from 0, or -1, "surplus": a list each: whether that card is
        there already}: the plainest way to the order of stacks, and how long it
        takes within this process
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


def read_card(card, setup):
    """One card: light, Otsu's threshold, a region for each hole, a plane."""
    from skimage.filters import threshold_otsu
    from skimage.measure import label, regionprops_table
    from skimage.segmentation import expand_labels

    per_row, pitch, pegs, reach = setup
    dark, width = card["dark"], card["open"] - card["dark"]
    light = (card["samples"] - dark) / width
    holes = light > threshold_otsu(light)
    paper = numpy.median(light[~holes])
    # a peg hole runs into the holes beside it on the channels that see it
    lines = numpy.arange(len(light)) / per_row - 1
    in_peg = (numpy.abs(lines[:, None] - pegs) < reach).any(axis=1)
    middle = (light.shape[1] - 1) / 2
    beside = numpy.abs(numpy.arange(light.shape[1]) - middle) < 1
    holes &= ~(in_peg[:, None] & beside)
    # channels are apart on the card: two dark columns between each two
    image = numpy.zeros((len(light), 3 * light.shape[1] - 2))
    image[:, ::3] = light - paper
    regions = numpy.zeros(image.shape, dtype=bool)
    regions[:, ::3] = holes
    # a hole's light goes on for two lines below the threshold
    marked = expand_labels(label(regions), distance=2)
    found = regionprops_table(marked, image, properties=("centroid_weighted",))
    # a line's place in rows: the first row is under the bar one row after the first line
    along = found["centroid_weighted-0"] / per_row - 1
    channel = numpy.rint(found["centroid_weighted-1"] / 3).astype(int)
    row = numpy.rint(along).astype(int)
    rows = len(card["rows"])
    kept = (row >= 0) & (row < rows)
    along, row, channel = along[kept], row[kept], channel[kept]
    # holes beside a peg hole have lost some of their light with it
    cut = beside[channel] & (numpy.abs(row[:, None] - pegs) < 2).any(axis=1)
    x, off = row[~cut] * pitch, (along - row)[~cut] * pitch
    y = (channel[~cut] - middle) * pitch
    design = numpy.column_stack([numpy.ones(len(x)), x, y])
    plane = numpy.linalg.lstsq(design, off, rcond=None)[0]
    bits = numpy.zeros(rows, dtype=int)
    numpy.bitwise_or.at(bits, row, 1 << channel)
    return bits, bool((bits == card["rows"]).all()), plane


def cards(problem):
    from time import perf_counter

    setup = (
        problem["per_row"],
        problem["pitch_mm"],
        numpy.array(problem["pegs"], dtype=float),
        problem["peg_reach"],
    )
    stack = [
        {name: numpy.array(values) for name, values in card.items()}
        for card in problem["cards"]
    ]
    times, answers = [], []
    for number in range(int(problem["rounds"])):
        for card in stack:
            start = perf_counter()
            bits, right, plane = read_card(card, setup)
            times.append(perf_counter() - start)
            if number == 0:
                answer = {"rows": bits.tolist(), "right": right, "plane": plane.tolist()}
                answers.append(answer)
    return {"median_us": float(numpy.median(times)) * 1e6, "cards": answers}


def draft(problem):
    from configparser import ConfigParser
    from io import StringIO

    ini = ConfigParser(comment_prefixes=(";",), delimiters=("=",), interpolation=None)
    # universal line ends, as a text file is opened
    ini.read_file(StringIO(problem["text"], newline=None))

    def lists(section, count):
        listed = (ini.get(section, str(n + 1), fallback="") for n in range(count))
        return [[int(number) for number in line.split(",") if number] for line in listed]

    ends, picks = ini.getint("WARP", "Threads"), ini.getint("WEFT", "Threads")
    again = StringIO()
    ini.write(again)
    return {
        "sections": ini.sections(),
        "shafts": ini.getint("WEAVING", "Shafts"),
        "ends": ends,
        "picks": picks,
        "rising": ini.getboolean("WEAVING", "Rising Shed"),
        "threading": lists("THREADING", ends),
        "liftplan": lists("LIFTPLAN", picks),
        "again": again.getvalue(),
    }


def signs(stack):
    """A hole is 1, solid card -1, what is doubtful 0."""
    holes, doubtful = numpy.array(stack["holes"]), numpy.array(stack["doubtful"])
    return numpy.where(doubtful, 0, 2 * holes - 1).astype(numpy.float32)


def distances(seen, deck):
    """Wrong positions of every place, however it lies, against every card."""
    ways = [seen, seen[:, ::-1, ::-1], seen[:, :, ::-1], seen[:, ::-1]]
    ways = numpy.concatenate(ways).reshape(4 * len(seen), -1)
    deck = deck.reshape(len(deck), -1).T
    # what agrees less what differs, and both together
    wrong = (numpy.abs(ways) @ numpy.abs(deck) - ways @ deck) / 2
    return wrong.reshape(4, len(seen), -1).min(axis=0)


def laid_against(fits):
    """The card that each place faces, or -1, so that most fit, and what it costs."""
    places, cards = fits.shape
    numbers = numpy.arange(cards + 1)
    costs = numpy.empty((places + 1, cards + 1), dtype=int)
    costs[0] = numbers
    # two that do not fit are passed one by one
    facing = numpy.where(fits, 0, 2)
    for place in range(places):
        above, row = costs[place], costs[place + 1]
        row[0] = place + 1
        row[1:] = numpy.minimum(above[1:] + 1, above[:-1] + facing[place])
        # cards passed one after the other, all at once
        row[:] = numpy.minimum.accumulate(row - numbers) + numbers
    faced = numpy.full(places, -1)
    place, card = places, cards
    while place and card:
        here = costs[place, card]
        if fits[place - 1, card - 1] and here == costs[place - 1, card - 1]:
            place, card = place - 1, card - 1
            faced[place] = card
        elif here == costs[place - 1, card] + 1:
            place -= 1
        else:
            card -= 1
    return faced, costs[-1, -1]


def order_of(seen, deck, limit):
    """One stack: every card in its four lies, then all in order, either end first."""
    wrong = distances(seen, deck)
    nearest = wrong.min(axis=1)
    fits = (wrong == nearest[:, None]) & (nearest <= limit)[:, None]
    faced, cost = laid_against(fits)
    back, back_cost = laid_against(fits[::-1])
    if back_cost < cost:
        faced = back[::-1]
    taken = numpy.zeros(len(deck), dtype=bool)
    taken[faced[faced >= 0]] = True
    surplus = numpy.zeros(len(seen), dtype=bool)
    # what is out of order is one of its cards that is left
    for place in numpy.flatnonzero((faced < 0) & fits.any(axis=1)):
        own = numpy.flatnonzero(fits[place])
        left = own[~taken[own]]
        surplus[place] = len(left) == 0
        faced[place] = own[0] if surplus[place] else left[0]
        taken[faced[place]] = True
    return faced, surplus


def stacks(problem):
    from time import perf_counter

    deck = signs(problem["deck"])
    answer = {"median_us": [], "cards": [], "surplus": []}
    for stack in problem["stacks"]:
        seen, times = signs(stack), []
        for _ in range(int(problem["rounds"])):
            start = perf_counter()
            faced, surplus = order_of(seen, deck, problem["limit"])
            times.append(perf_counter() - start)
        answer["median_us"].append(float(numpy.median(times)) * 1e6)
        answer["cards"].append(faced.tolist())
        answer["surplus"].append(surplus.tolist())
    return answer


def making(problem):
    from time import perf_counter

    columns, lines = problem["columns"], problem["lines"]
    # figure and ground, each a satin of 8 with counter 3: of every pick the figure
    # leaves one end down, the ground lifts one
    point = numpy.arange(8)[None, :] == (numpy.arange(8) * 3 % 8)[:, None]
    weaves = numpy.stack([~point, point])
    bits = (1 << numpy.arange(12)).astype(numpy.uint16)
    times = []
    paper = numpy.fromfile(problem["paper"], dtype=numpy.uint8).reshape(lines, columns)
    for _ in range(problem["rounds"]):
        start = perf_counter()
        # the lowest line is woven first
        woven = paper[::-1]
        pick = numpy.arange(lines)[:, None] % 8
        end = numpy.arange(columns)[None, :] % 8
        lifted = weaves[woven, pick, end]
        rows = (lifted.reshape(lines, columns // 12, 12) * bits).sum(axis=2, dtype=numpy.uint16)
        times.append(perf_counter() - start)
    ours = numpy.fromfile(problem["rows"], dtype="<u2").reshape(rows.shape)
    return {"median_us": float(numpy.median(times)) * 1e6, "same": bool((ours == rows).all())}


COMMANDS = {
    "lstsq": lstsq,
    "huber": huber,
    "otsu": otsu,
    "cards": cards,
    "draft": draft,
    "making": making,
    "stacks": stacks,
}


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
