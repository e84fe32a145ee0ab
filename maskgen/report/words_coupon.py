"""Words of the reading sheet of a test piece."""

TITLE_WORDS = "Reading sheet of the test piece"
HOW = "How to read it"
ROWS = "What to write down"
PICTURE_TITLE = "The piece, {scale:.1f} times as large; corner mark at the top left; red: what is measured in mm"
STEPS = (
    "Work the piece by bench-sheet.pdf. Its cautions hold: read the data sheets of bleach, dye and film first; goggles, gloves, "
    "extraction; bleach and acid never near each other; rinse in full between baths.",
    "Work as you always do: the same film, blade, burnishing, bleach, minutes and hands. A piece made with more care than your "
    "parts measures the care.",
    "While you weed and lay: a line, slit or piece that tears, lifts or does not come over with the tape is a no.",
    "Before you peel, after the last bleach and rinse, look at the film with a loupe: lines and small pieces (yes or no).",
    "After peeling, rinse, seal and dry. Then look at the colour: slits (yes or no), bars and gaps (mm).",
    "Bars: the width of the colour in the middle of the bar, across it, to 0.05 mm if you can: a loupe with a reticle of 0.1 mm, or a "
    "scan at 1200 dots per inch or more. A calliper's jaws cannot feel colour: use it as a scale only. Take the edge where "
    "the colour is half as deep. No colour left: write 0.",
    "Gaps of a target: bare metal between the square and its frame, at all four sides, in their middle.",
    "Write the readings into measured.csv (column measured), then: maskgen coupon --read measured.csv. What you did not measure "
    "stays empty: that value keeps its default.",
)
ABOUT = {
    "creep": "Colour lost at each edge is the creep of that many strips. Dashes below a group: its strips.",
    "line": "From the widest to the narrowest. Yes only if the film line is whole, flat and in its place along all its length.",
    "slit": "From the widest to the narrowest, left to right. Yes only if it weeded and is bare along all its length.",
    "piece": "From the largest to the smallest; squares above, dots below.",
    "place": "A square off its middle shows how far off that film was laid.",
}
