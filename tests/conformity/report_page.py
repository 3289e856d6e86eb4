"""A page of `packmile report` read as a person reads it, and a score of its claims."""
import collections
import datetime
import html.parser
import re

MONTHS = {name: k + 1 for k, name in enumerate(
    "January February March April May June July August September October November December".split())}
MOST_REFUSED = 0.2
# Of 95 % intervals: where fewer of so many hold the truth that is hardly chance.
LEAST_INSIDE, LEAST_INTERVALS = 0.9, 20


class Reader(html.parser.HTMLParser):
    """Sections by van, each with its findings by heading, and page one's tables."""

    def __init__(self, text):
        super().__init__()
        self.vans, self.van, self.heading, self.tag, self.text = {}, None, "", None, ""
        self.fleet, self.costs, self.energies = "", {}, {}
        self.row, self.caption, self.column = None, "", 0
        self.feed(text)

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag == "section":
            self.van = attributes.get("data-van")
            if self.van:
                self.vans[self.van] = collections.defaultdict(list)
        if tag == "table":
            self.caption = ""
        if tag == "tr":
            self.row, self.column = attributes.get("data-van"), 0
        if tag == "td":
            self.column += 1
        energy = tag == "td" and self.caption.startswith("cost a mile") and self.column == 3
        if tag in ("h2", "h3", "p", "li", "figcaption", "caption") or energy \
                or attributes.get("data-label", "").startswith("cost"):
            self.tag, self.text = tag, ""

    def handle_endtag(self, tag):
        if tag != self.tag:
            return
        text, self.tag = " ".join(self.text.split()), None
        if tag in ("h2", "h3"):
            self.heading = text
        elif tag == "caption":
            self.caption = text
        elif self.van:
            self.vans[self.van][self.heading].append(text)
        elif tag == "figcaption":
            self.fleet = text
        elif tag == "td":
            (self.energies if self.caption.startswith("cost a mile") else self.costs)[self.row] = text

    def handle_data(self, data):
        if self.tag:
            self.text += data


class Score:
    def __init__(self, kinds):
        """kinds: of all claims that a page can make; none else is scored."""
        self.counts = {kind: collections.Counter() for kind in kinds}
        self.inside = collections.defaultdict(collections.Counter)
        self.wrongs, self.refusals = [], []

    # 95 % intervals miss now and then, and are no claim of words: counted beside.
    def interval(self, what, low, truth, high):
        self.inside[what]["all"] += 1
        self.inside[what]["inside"] += low <= truth <= high

    def right(self, what):
        self.counts[what]["right"] += 1

    def claim(self, what, good, text, truth):
        if good:
            return self.right(what)
        self.counts[what]["wrong"] += 1
        self.wrongs.append(f"{what}: {text}\n    truth: {truth}")

    # difference: of the truth; width: the widest interval that the sentence states.
    def refused(self, what, difference, width, text=""):
        clear = difference > 2 * width
        self.counts[what]["refused" if clear else "close"] += 1
        if clear:
            self.refusals.append(f"{what}: {text}\n    truth: {difference:.3g} apart, interval {width:.3g}")

    def show(self, every_kind):
        """Whether all is well; every_kind: none may be left without a claim."""
        total = collections.Counter()
        print(f"{'claim':38} right wrong  refused though far apart  too close to call")
        for what, counts in self.counts.items():
            print(f"{what:38} {counts['right']:5} {counts['wrong']:5} {counts['refused']:25} {counts['close']:18}")
            total.update(counts)
        for text in self.refusals:
            print("refused " + text)
        for text in self.wrongs:
            print("WRONG " + text)
        narrow = False
        for what, counts in self.inside.items():
            print(f"{what}: the truth is in {counts['inside']} of {counts['all']} 95 % intervals")
            narrow = narrow or (counts["all"] >= LEAST_INTERVALS and counts["inside"] < LEAST_INSIDE * counts["all"])
        never = [what for what, counts in self.counts.items() if counts["right"] + counts["wrong"] == 0]
        if never:
            print(f"{'NEVER' if every_kind else 'never'} claimed, so not tested: " + ", ".join(never))
        clear = total["right"] + total["wrong"] + total["refused"]
        print(f"in all: {total['right']} right, {total['wrong']} wrong, {total['refused']} refused of {clear} whose "
              f"truth is clear, {total['close']} too close to call")
        return (total["wrong"] == 0 and clear > 0 and total["refused"] <= MOST_REFUSED * clear
                and not (every_kind and never) and not narrow)


def number(text):
    return float(text.replace(",", "").replace("£", ""))


def ranges_in(text):
    """Every "1.23 (1.20 to 1.26)" of a text."""
    return [(number(a), number(b), number(c)) for a, b, c in
            re.findall(r"£?(-?[\d,.]*\d) \((-?[\d,.]*\d) to (-?[\d,.]*\d)\)", text)]


def width_of(text):
    return max((high - low for _, low, high in ranges_in(text)), default=0)


def month_key(text):
    name, year = text.split()
    return f"{year}-{MONTHS[name]:02}"


def day_in(text, today):
    told = re.fullmatch(r"(\d+) (\w+)(?: (\d+))?", text)
    return datetime.date(int(told[3] or today.year), MONTHS[told[2]], int(told[1])) if told else today


def span_of_days(text, today):
    """First and last day of "between A and B", "on D", "from A on", "now", "since D"; the last may be None."""
    told = re.search(r"between (.+?) and (\d+ \w+(?: \d+)?)", text)
    if told:
        end, year = day_in(told[2], today), re.search(r"\d{4}", told[2])
        begin = told[1]
        if year and begin != "now" and not re.search(r"\d{4}", begin):
            begin += f" {year[0]}"
        return day_in(begin, today), end
    told = re.search(r"\bon (\d+ \w+(?: \d+)?)", text)
    if told:
        return day_in(told[1], today), day_in(told[1], today)
    told = re.search(r"\bfrom (.+?) on\b", text)
    if told:
        return day_in(told[1], today), None
    return (datetime.date.min, today) if re.search(r"\bnow\b|\bsince\b|ended|\bover\b", text) else None


def days_open(text, today):
    """The widest range of days that a sentence states; one without an end is a year."""
    spans = [span_of_days(piece, today) for piece in re.findall(r"between .+? and \d+ \w+(?: \d+)?", text)]
    widest = max(((last - first).days for first, last in spans), default=0)
    return max(widest, 365 if re.search(r"from .+ on\b", text) else 0)
