"""."""


def vowels(v, o): pass
def aliasing(v, o): pass
def articulations(v, o): pass
