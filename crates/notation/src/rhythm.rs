//! Rhythm: what happens in one bar of one voice, as note values that can be drawn: split by the metre, dotted, in tuplets.
//!
//! A bar is cut where the metre lets it; what then stands on no binary place is a tuplet over the smallest stretch that holds it,
//! and within that again, if need be. What no value can say keeps its exact length and is drawn as the nearest value.
//! Rules of division by the metre: common practice, no source.

use ripieno_units::Beats;

/// Smallest value that is drawn: a 256th, 1/64 of a quarter.
const FINEST: i64 = 64;
/// Tuplets of more notes than this are not drawn.
const MOST_ACTUAL: i64 = 13;
/// Tuplets within tuplets so deep.
const MOST_DEPTH: usize = 3;

/// A note value: 2^log quarters, with dots.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Value {
    pub log: i32,
    pub dots: usize,
}

/// A tuplet: so many units in the time of so many.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Tuplet {
    pub actual: i64,
    pub normal: i64,
    /// The unit, 2^log quarters.
    pub log: i32,
}

/// One head or rest.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Piece {
    /// From the start of the bar.
    pub at: Beats,
    pub length: Beats,
    /// Which note; `None` is a rest.
    pub event: Option<usize>,
    pub value: Value,
    /// Indices of the tuplets that it stands in, the outermost first.
    pub tuplets: Vec<usize>,
    /// Its value says its length.
    pub exact: bool,
}

/// What fills a stretch: from, to, which note (`None`: silence).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Event {
    pub from: Beats,
    pub to: Beats,
    pub id: Option<usize>,
}

/// A bar of one voice as it is drawn.
#[derive(Clone, Debug, Default)]
pub(crate) struct Drawn {
    pub pieces: Vec<Piece>,
    pub tuplets: Vec<Tuplet>,
}

/// A stretch of the bar with a measure of its own: the bar itself, or a tuplet.
#[derive(Clone)]
struct Frame {
    /// Where its zero is, from the start of the bar.
    base: Beats,
    /// Real time for one unit of its own.
    factor: (i64, i64),
    grids: Vec<Beats>,
    /// Notes that leave a tuplet are cut at places no closer than this: the beat.
    beat: Beats,
    tuplets: Vec<usize>,
}

fn power_of_two(n: i64) -> bool {
    n > 0 && n & (n - 1) == 0
}

fn odd_part(n: i64) -> i64 {
    if n == 0 { 1 } else { n >> n.trailing_zeros() }
}

fn binary(x: Beats) -> bool {
    power_of_two(x.denominator())
}

fn drawable(x: Beats) -> bool {
    binary(x) && x.denominator() <= FINEST
}

fn multiple(x: Beats, of: Beats) -> bool {
    x.scaled(of.denominator(), of.numerator()).denominator() == 1
}

/// `a` / `b`, exactly.
fn over(a: Beats, b: Beats) -> Beats {
    a.scaled(b.denominator(), b.numerator())
}

fn power(log: i32) -> Beats {
    if log >= 0 { Beats::whole(1 << log.min(20)) } else { Beats::new(1, 1 << (-log).min(20)) }
}

/// The single value of a length, with up to two dots.
pub(crate) fn single(length: Beats) -> Option<Value> {
    if !length.is_positive() || !binary(length) {
        return None;
    }
    let (num, den) = (length.numerator(), length.denominator());
    let dots = match odd_part(num) {
        1 => 0,
        3 => 1,
        7 => 2,
        _ => return None,
    };
    let log = num.trailing_zeros() as i32 - den.trailing_zeros() as i32 + dots as i32;
    (-8..=3).contains(&log).then_some(Value { log, dots })
}

/// The length that a piece's value says, with its dots and in its tuplets.
pub(crate) fn said(piece: &Piece, tuplets: &[Tuplet]) -> Beats {
    let dots = piece.value.dots.min(8) as u32;
    let plain = power(piece.value.log).scaled((1 << (dots + 1)) - 1, 1 << dots);
    let within = piece.tuplets.iter().filter_map(|i| tuplets.get(*i));
    within.fold(plain, |length, tuplet| length.scaled(tuplet.normal, tuplet.actual))
}

/// The nearest value without dots.
fn nearest(length: Beats) -> Value {
    let mut best = Value { log: -8, dots: 0 };
    for log in -8..=3 {
        if power(log).scaled(3, 4) <= length {
            best.log = log;
        }
    }
    best
}

/// The levels of a metre, from the bar down: distances of its strong places.
pub(crate) fn grids(beats: u16, unit: u16) -> Vec<Beats> {
    let one = Beats::new(4, i64::from(unit.max(1)));
    let mut n = i64::from(beats.max(1));
    let mut grids = vec![one * n];
    let compound = n > 3 && n % 3 == 0 && unit >= 4;
    let floor = if compound { 3 } else { 1 };
    while n > floor && n % (2 * floor) == 0 {
        n /= 2;
        grids.push(one * n);
    }
    if compound && n > 3 {
        grids.push(one * 3);
    }
    if n > 1 {
        grids.push(one);
    }
    halved(grids)
}

fn halved(mut grids: Vec<Beats>) -> Vec<Beats> {
    while let Some(last) = grids.last().copied().filter(|g| g.denominator() < FINEST && grids.len() < 24) {
        grids.push(last.scaled(1, 2));
    }
    grids
}

/// The place of the beat among the levels: the shortest that is a quarter or longer, or the dotted group of a compound metre.
pub(crate) fn beat(beats: u16, unit: u16) -> Beats {
    let one = Beats::new(4, i64::from(unit.max(1)));
    if beats > 3 && beats.is_multiple_of(3) && unit >= 8 || beats == 3 && unit >= 8 {
        return one * 3;
    }
    if unit == 2 || unit >= 8 { Beats::whole(1) } else { one.max(Beats::whole(1)) }
}

/// Draws a bar. `events` fill it without gaps; `shift` is what a pick-up bar lacks before its first note.
pub(crate) fn draw(events: &[Event], grids: &[Beats], shift: Beats) -> Drawn {
    let mut drawn = Drawn::default();
    let mut unit = Beats::whole(1);
    // The metre's own unit where that is shorter than a quarter: the last level before halves of it begin.
    if let Some(pair) = grids.windows(2).find(|w| over(w[0], w[1]) == Beats::whole(3)) {
        unit = unit.min(pair[1]);
    }
    let frame =
        Frame { base: -shift, factor: (1, 1), grids: grids.to_vec(), beat: unit, tuplets: Vec::new() };
    let moved: Vec<Event> =
        events.iter().map(|e| Event { from: e.from + shift, to: e.to + shift, id: e.id }).collect();
    drawn.region(&frame, &moved, 0);
    drawn
}

impl Drawn {
    fn region(&mut self, frame: &Frame, events: &[Event], depth: usize) {
        let (Some(first), Some(last)) = (events.first(), events.last()) else { return };
        let (from, to) = (first.from, last.to);
        if events.iter().all(|e| drawable(e.from) && drawable(e.to)) {
            return events.iter().for_each(|e| self.plain(frame, *e));
        }
        for grid in &frame.grids {
            let points: Vec<Beats> = inside(from, to, *grid)
                .into_iter()
                .filter(|p| clean(events, *p, *grid, frame.beat))
                .collect();
            if !points.is_empty() {
                let mut rest = events.to_vec();
                for p in points {
                    let (before, after) = cut(&rest, p);
                    self.region(frame, &before, depth);
                    rest = after;
                }
                return self.region(frame, &rest, depth);
            }
        }
        match tuplet(from, to, events).filter(|_| depth < MOST_DEPTH && drawable(from) && drawable(to)) {
            Some(tuplet) => {
                let inner = |x: Beats| (x - from).scaled(tuplet.actual, tuplet.normal);
                let unit = power(tuplet.log);
                let mut tuplets = frame.tuplets.clone();
                tuplets.push(self.tuplets.len());
                self.tuplets.push(tuplet);
                let frame = Frame {
                    base: frame.base + from.scaled(frame.factor.0, frame.factor.1),
                    factor: (frame.factor.0 * tuplet.normal, frame.factor.1 * tuplet.actual),
                    grids: halved(vec![unit * tuplet.actual, unit]),
                    beat: unit,
                    tuplets,
                };
                let events: Vec<Event> =
                    events.iter().map(|e| Event { from: inner(e.from), to: inner(e.to), id: e.id }).collect();
                self.region(&frame, &events, depth + 1);
            }
            None => {
                for e in events {
                    let length = (e.to - e.from).scaled(frame.factor.0, frame.factor.1);
                    let at = frame.base + e.from.scaled(frame.factor.0, frame.factor.1);
                    let (value, tuplets) = (nearest(length), Vec::new());
                    self.pieces.push(Piece { at, length, event: e.id, value, tuplets, exact: false });
                }
            }
        }
    }

    fn push(&mut self, frame: &Frame, from: Beats, to: Beats, id: Option<usize>) {
        let value = single(to - from);
        self.pieces.push(Piece {
            at: frame.base + from.scaled(frame.factor.0, frame.factor.1),
            length: (to - from).scaled(frame.factor.0, frame.factor.1),
            event: id,
            value: value.unwrap_or_else(|| nearest(to - from)),
            tuplets: frame.tuplets.clone(),
            exact: value.is_some(),
        });
    }

    /// A note or silence on binary places.
    fn plain(&mut self, frame: &Frame, event: Event) {
        if event.id.is_some() {
            return self.note(frame, event.from, event.to, event.id);
        }
        let (mut at, end) = (event.from, event.to);
        while at < end {
            // The largest level that the rest begins on and that it fills; rests do not hide the beats.
            let fits = |g: &&Beats| multiple(at, **g) && at + **g <= end && single(**g).is_some();
            let to = frame.grids.iter().find(fits).map_or(end, |g| at + *g);
            self.push(frame, at, to, None);
            at = to;
        }
    }

    fn note(&mut self, frame: &Frame, from: Beats, to: Beats, id: Option<usize>) {
        let grids = &frame.grids;
        let level = |x: Beats| grids.iter().position(|g| multiple(x, *g)).unwrap_or(grids.len());
        let Some((strong, points)) = grids.iter().enumerate().find_map(|(i, g)| {
            let points = inside(from, to, *g);
            (!points.is_empty()).then_some((i, points))
        }) else {
            return self.push(frame, from, to, id);
        };
        let (start, end) = (level(from), level(to));
        let next = grids.get(strong + 1).copied();
        let ratio = next.map_or(2, |n| over(grids[strong], n).numerator());
        let value = single(to - from);
        let fits = if ratio == 3 && frame.tuplets.is_empty() && strong > 0 {
            start <= strong && end <= strong
        } else {
            // Short, long, short: the one syncopation that is read at sight.
            let syncopated = start == strong + 1 && end == start && ratio == 2 && to - from == grids[strong];
            start <= strong || syncopated && strong > 0 || syncopated && grids[0] <= Beats::whole(2)
        };
        if value.is_some_and(|v| v.dots < 2 || start <= 1) && fits {
            return self.push(frame, from, to, id);
        }
        let at = if start <= strong {
            let clear = |p: &&Beats| single(**p - from).is_some();
            points.iter().rev().find(clear).unwrap_or(&points[0])
        } else {
            &points[0]
        };
        self.note(frame, from, *at, id);
        self.note(frame, *at, to, id);
    }
}

/// Multiples of `grid` strictly between two places.
fn inside(from: Beats, to: Beats, grid: Beats) -> Vec<Beats> {
    // A bar has fewer strong places than this; a damaged one may claim more.
    const MOST: usize = 4096;
    let count = over(from, grid);
    let mut at = grid * (count.numerator().div_euclid(count.denominator()) + 1);
    let mut points = Vec::new();
    while at < to && points.len() < MOST {
        points.push(at);
        at += grid;
    }
    points
}

/// May the bar be cut here?
fn clean(events: &[Event], p: Beats, grid: Beats, beat: Beats) -> bool {
    let Some(e) = events.iter().find(|e| e.from < p && p < e.to) else { return true };
    if drawable(e.from) && drawable(e.to) {
        return true;
    }
    if grid < beat {
        return false;
    }
    // One value of a longer tuplet is better left whole; longer notes come out of a short tuplet with a tie.
    let length = e.to - e.from;
    let whole = matches!(odd_part(length.numerator()), 1 | 3) && length < grid * 2;
    e.id.is_none() || ((drawable(e.from) || drawable(e.to)) && !whole)
}

fn cut(events: &[Event], p: Beats) -> (Vec<Event>, Vec<Event>) {
    let (mut before, mut after) = (Vec::new(), Vec::new());
    for e in events {
        if e.to <= p {
            before.push(*e);
        } else if e.from >= p {
            after.push(*e);
        } else {
            before.push(Event { to: p, ..*e });
            after.push(Event { from: p, ..*e });
        }
    }
    (before, after)
}

/// The tuplet that a stretch needs, if one is drawn so.
fn tuplet(from: Beats, to: Beats, events: &[Event]) -> Option<Tuplet> {
    let length = to - from;
    if !length.is_positive() || !binary(length) {
        return None;
    }
    let mut all = 1i64;
    for e in &events[1..] {
        let odd = odd_part(over(e.from - from, length).denominator());
        all = all.checked_mul(odd / gcd(all, odd)).filter(|n| *n < 1 << 20)?;
    }
    // Within a tuplet of fewer notes, where these come in groups that begin on its notes; a row of equal notes is one tuplet.
    let equal = events.iter().all(|e| e.to - e.from == events[0].to - events[0].from);
    let met = |d: i64| events[1..].iter().any(|e| multiple(e.from - from, length.scaled(1, d)));
    let divides = |d: &i64| d % 2 == 1 && all % d == 0;
    let grouped = (3..all.min(MOST_ACTUAL + 1)).filter(divides).find(|d| !equal && met(*d));
    let least = || (3..=MOST_ACTUAL).find(divides);
    let whole = (all <= MOST_ACTUAL).then_some(all);
    let mut actual = grouped.or(whole).or_else(least)?;
    if actual < 3 {
        return None;
    }
    let mut normal = odd_part(length.numerator());
    while actual < normal {
        actual *= 2;
    }
    while normal * 2 < actual {
        normal *= 2;
    }
    if normal == actual || actual > 4 * MOST_ACTUAL {
        return None;
    }
    let unit = length.scaled(1, normal);
    let log = single(unit)?.log;
    Some(Tuplet { actual, normal, log })
}

fn gcd(mut a: i64, mut b: i64) -> i64 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a.max(1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(metre: (u16, u16), notes: &[(i64, i64)]) -> String {
        let mut at = Beats::ZERO;
        let mut events = Vec::new();
        for (i, (num, den)) in notes.iter().enumerate() {
            let to = at + Beats::new(num.abs(), *den);
            events.push(Event { from: at, to, id: (*num > 0).then_some(i) });
            at = to;
        }
        let drawn = draw(&events, &grids(metre.0, metre.1), Beats::ZERO);
        let total: Beats = drawn.pieces.iter().map(|p| p.length).sum();
        assert_eq!(total, at);
        let mut out = Vec::new();
        for p in &drawn.pieces {
            let name = format!("{}{}", 4.0 / power(p.value.log).quarters(), ".".repeat(p.value.dots));
            let tuplets: String =
                p.tuplets.iter().map(|t| drawn.tuplets[*t].actual.to_string() + ":").collect();
            out.push(format!(
                "{}{tuplets}{name}{}",
                if p.event.is_some() { "" } else { "r" },
                if p.exact { "" } else { "?" }
            ));
        }
        out.join(" ")
    }

    #[test]
    fn the_metre_divides() {
        assert_eq!(drawn((4, 4), &[(1, 1), (2, 1), (1, 1)]), "4 2 4");
        assert_eq!(drawn((4, 4), &[(1, 1), (3, 2), (3, 2)]), "4 4 8 8 4");
        assert_eq!(drawn((4, 4), &[(3, 2), (1, 2), (2, 1)]), "4. 8 2");
        assert_eq!(drawn((4, 4), &[(3, 1), (-1, 1)]), "2. r4");
        assert_eq!(drawn((4, 4), &[(1, 1), (-3, 1)]), "4 r4 r2");
        assert_eq!(drawn((3, 4), &[(1, 1), (-2, 1)]), "4 r4 r4");
        assert_eq!(drawn((6, 8), &[(3, 2), (3, 2)]), "4. 4.");
        assert_eq!(drawn((6, 8), &[(2, 1), (1, 1)]), "4. 8 4");
        assert_eq!(drawn((6, 8), &[(-3, 2), (1, 2), (1, 1)]), "r4. 8 4");
    }

    #[test]
    fn tuplets() {
        assert_eq!(drawn((4, 4), &[(1, 3), (1, 3), (1, 3), (3, 1)]), "3:8 3:8 3:8 4 2");
        assert_eq!(drawn((4, 4), &[(2, 3), (2, 3), (2, 3), (2, 1)]), "3:4 3:4 3:4 2");
        assert_eq!(drawn((4, 4), &[(4, 3), (2, 3), (2, 1)]), "3:2 3:4 2");
        assert_eq!(
            drawn((2, 4), &[(1, 5), (1, 5), (1, 5), (1, 5), (1, 5), (1, 1)]),
            "5:16 5:16 5:16 5:16 5:16 4"
        );
        assert_eq!(drawn((2, 4), &[(1, 3), (2, 9), (2, 9), (2, 9), (1, 1)]), "3:8 3:3:8 3:3:8 3:3:8 4");
    }

    #[test]
    fn what_no_value_says_keeps_its_length() {
        assert_eq!(drawn((2, 4), &[(101, 211), (321, 211)]), "8? 8? 4");
    }
}
