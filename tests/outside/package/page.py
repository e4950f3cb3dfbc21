"""The page that a person follows, as commands.

A fenced block of the page names the machines it is for after `sh`. Words in
capitals are filled in as the reader would fill them in; one that is not known
is an error, so that the page cannot ask for what nobody was told.
"""

import re

FENCE = re.compile(r"^```sh +([^\n]+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
ANY_FENCE = re.compile(r"^```", re.MULTILINE)
HEADING = re.compile(r"^## +(.+)$", re.MULTILINE)
FILL_IN = re.compile(r"(?<![A-Za-z])[A-Z]{2,}(?:_[A-Z]+)*(?![A-Za-z])")

# Stand for themselves: an environment variable is written in capitals.
NAMES = {"BAYWRIGHT_BAY"}


class Page:
    """Sections of the page, each with its blocks in order."""

    def __init__(self, text):
        parts = HEADING.split(text)
        self.sections = {}
        for heading, body in zip(parts[1::2], parts[2::2], strict=True):
            found = FENCE.findall(body)
            if len(ANY_FENCE.findall(body)) != 2 * len(found):
                raise ValueError(f"a block under `{heading}` names no machine")
            self.sections[heading] = [(where.split(), block) for where, block in found]
        self.left = {heading for heading, blocks in self.sections.items() if blocks}
        if not self.left:
            raise ValueError("the page has no commands")

    def blocks(self, heading):
        """The blocks of a section; each section is asked for at least once."""
        self.left.discard(heading)
        return self.sections[heading]


def lines(block, words):
    """The commands of a block, filled in."""

    def fill_in(found):
        word = found.group()
        return word if word in NAMES else words[word]

    return [FILL_IN.sub(fill_in, line) for line in block.splitlines() if line.strip()]
