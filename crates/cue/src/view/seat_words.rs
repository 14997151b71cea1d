//! A seat said in words: "second row, left", "2 m right of violas", "behind the horns", "between flutes and oboe".
//!
//! Phrases follow one another; each starts from where the ones before it have led. Left and right are the conductor's.

use ripieno_plan::nearest;
use ripieno_units::math;

/// Somebody on the stage, metres from the conductor: x to the right, y upstage.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sitting {
    /// The chair's id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// To the conductor's right.
    pub x: f64,
    /// Upstage.
    pub y: f64,
    /// To each side of its middle.
    pub half_width: f64,
}

/// What cannot be understood, with its bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeatFault {
    /// First byte.
    pub from: usize,
    /// One past the last.
    pub to: usize,
    /// What is wrong.
    pub message: String,
    /// Words that are understood.
    pub help: String,
}

/// Metres from row to row: the arcs of the plan.
const ROW: f64 = 2.0;

/// Metres behind or before somebody: a row of desks (common practice, no source).
const BEHIND: f64 = 1.5;

/// Metres between the outer players of neighbours.
const GAP: f64 = 0.8;

/// Metres that a seat may lie away; what a template takes.
const FARTHEST: f64 = 100.0;

const HELP: &str = "say for instance: second row, left; 2 m right of violas; behind the horns; in front of the timpani; between flutes and oboe; 6 m from the conductor; far right; centre; -3.6, 2.2";

/// Degrees from straight ahead: a quarter turn is beside the conductor.
const SIDES: [(&str, f64); 4] = [("far", 75.0), ("half", 22.5), ("slightly", 12.0), ("hard", 75.0)];
const SIDE: f64 = 45.0;

const ORDINALS: [(&str, f64); 14] = [
    ("first", 1.0),
    ("front", 1.0),
    ("1st", 1.0),
    ("second", 2.0),
    ("2nd", 2.0),
    ("third", 3.0),
    ("3rd", 3.0),
    ("fourth", 4.0),
    ("4th", 4.0),
    ("fifth", 5.0),
    ("5th", 5.0),
    ("sixth", 6.0),
    ("6th", 6.0),
    ("seventh", 7.0),
];

const NUMBERS: [(&str, f64); 10] = [
    ("half", 0.5),
    ("one", 1.0),
    ("two", 2.0),
    ("three", 3.0),
    ("four", 4.0),
    ("five", 5.0),
    ("six", 6.0),
    ("seven", 7.0),
    ("eight", 8.0),
    ("ten", 10.0),
];

/// Where words lead a chair that sits at `here`. `usual` is where its seating would put it.
///
/// Errors: a word that is not understood, a chair that is not there, a place outside the hall.
pub fn seat_by_words(
    text: &str,
    here: &Sitting,
    others: &[Sitting],
    usual: Option<(f64, f64)>,
) -> Result<(f64, f64), SeatFault> {
    let words = split(text);
    let mut reader = Reader { text, words: &words, at: 0, here, others, place: (here.x, here.y) };
    if words.is_empty() {
        return Err(reader.fault(0, 0, "no place is said".into(), HELP.into()));
    }
    while reader.at < words.len() {
        reader.phrase(usual)?;
    }
    let round = |v: f64| (v * 100.0).round() / 100.0 + 0.0;
    let (x, y) = reader.place;
    if !(x.abs() <= FARTHEST && y.abs() <= FARTHEST) {
        let message = format!("{x:.0} m to the right, {y:.0} m upstage is outside the hall");
        return Err(reader.fault(0, words.len(), message, "a seat lies within 100 m".into()));
    }
    Ok((round(x), round(y)))
}

/// A word, in small letters, with its bytes; a number and its unit are two.
struct Word {
    text: String,
    from: usize,
    to: usize,
}

fn split(text: &str) -> Vec<Word> {
    let mut words: Vec<Word> = Vec::new();
    let mut from = None;
    let kind = |c: char| (c.is_ascii_digit() || c == '.' || c == '-', c.is_alphanumeric());
    let push = |words: &mut Vec<Word>, from: usize, to: usize| {
        let word = text[from..to].trim_end_matches('.');
        if word.chars().any(char::is_alphanumeric) {
            words.push(Word { text: word.to_lowercase(), from, to: from + word.len() });
        }
    };
    let mut last = ' ';
    for (i, c) in text.char_indices() {
        let inside = c.is_alphanumeric() || c == '-' || c == '.' || c == '\'';
        // `2m` is a number and a unit; `violins-1` and `1st` are one word.
        let unit = from.is_some_and(|f: usize| c == 'm' && kind(last).0 && text[f..i].parse::<f64>().is_ok());
        if (!inside || unit)
            && let Some(start) = from.take()
        {
            push(&mut words, start, i);
        }
        if inside && from.is_none() {
            from = Some(i);
        }
        last = c;
    }
    if let Some(start) = from {
        push(&mut words, start, text.len());
    }
    words
}

struct Reader<'a> {
    text: &'a str,
    words: &'a [Word],
    at: usize,
    here: &'a Sitting,
    others: &'a [Sitting],
    place: (f64, f64),
}

impl Reader<'_> {
    fn word(&self, ahead: usize) -> &str {
        self.words.get(self.at + ahead).map_or("", |w| w.text.as_str())
    }

    /// The next words, taken if they are these.
    fn takes(&mut self, words: &str) -> bool {
        let list: Vec<&str> = words.split(' ').collect();
        let same = list.iter().enumerate().all(|(i, w)| self.word(i) == *w);
        if same {
            self.at += list.len();
        }
        same
    }

    fn takes_one(&mut self, of: &[&str]) -> bool {
        of.iter().any(|w| self.takes(w))
    }

    fn fault(&self, from: usize, to: usize, message: String, help: String) -> SeatFault {
        let start = self.words.get(from).map_or(self.text.len(), |w| w.from);
        let end = to.checked_sub(1).and_then(|i| self.words.get(i)).map_or(self.text.len(), |w| w.to);
        SeatFault { from: start.min(end), to: end, message, help }
    }

    fn phrase(&mut self, usual: Option<(f64, f64)>) -> Result<(), SeatFault> {
        if self.takes_one(&["in front of", "before"]) {
            let them = self.name()?;
            self.place = along(them.place(), -BEHIND);
        } else if self.takes("behind") {
            let them = self.name()?;
            self.place = along(them.place(), BEHIND);
        } else if self.takes("between") {
            let one = self.name()?;
            if !self.takes("and") {
                let message = format!("between {} and whom?", one.word);
                return Err(self.fault(self.at, self.at + 1, message, "say: between flutes and oboe".into()));
            }
            let two = self.name()?;
            self.place = ((one.x + two.x) / 2.0, (one.y + two.y) / 2.0);
        } else if self.takes_one(&["beside", "next to", "with"]) {
            let them = self.name()?;
            let side = if self.place.0 < them.x { -1.0 } else { 1.0 };
            self.place = self.beside(&them, side);
        } else if self.takes_one(&["centre", "center", "middle", "straight ahead"]) {
            self.turn(0.0);
        } else if self.takes_one(&["usual", "as usual"]) {
            self.place = usual.ok_or_else(|| {
                self.fault(
                    self.at - 1,
                    self.at,
                    "the seating has no usual seat for this chair".into(),
                    HELP.into(),
                )
            })?;
        } else if self.takes_one(&["in", "on", "at", "to", "the", "a", "and", "then", "row"]) {
            // A row may be said either way round: "row 3", "third row".
            if self.words[self.at - 1].text == "row" {
                match self.word(0).parse::<f64>() {
                    Ok(n) if n > 0.0 && n.fract() == 0.0 => self.at += 1,
                    _ => {
                        return Err(self.fault(
                            self.at - 1,
                            self.at,
                            "which row?".into(),
                            "say: row 3".into(),
                        ));
                    }
                }
                let n: f64 = self.words[self.at - 1].text.parse().unwrap_or(1.0);
                self.away(n * ROW);
            }
        } else if self.row() || self.side()? || self.number()? {
        } else {
            let word = self.word(0).to_string();
            let known =
                ["left", "right", "row", "behind", "between", "beside", "centre", "usual", "in front of"];
            let names = self.others.iter().map(|o| o.id.as_str());
            let near = nearest(&word, known.into_iter().chain(names));
            let help = near.map_or_else(|| HELP.into(), |n| format!("did you mean `{n}`? Or {HELP}"));
            return Err(self.fault(self.at, self.at + 1, format!("`{word}` is no word for a seat"), help));
        }
        Ok(())
    }

    fn row(&mut self) -> bool {
        if self.word(1) != "row" {
            return false;
        }
        let word = self.word(0);
        let n = match word {
            // Behind everybody else.
            "last" | "back" => {
                let deepest = self.others.iter().map(|o| far((o.x, o.y))).fold(ROW, f64::max);
                (deepest / ROW).ceil()
            }
            word => match ORDINALS.iter().find(|(w, _)| *w == word) {
                Some((_, n)) => *n,
                None => return false,
            },
        };
        self.at += 2;
        self.away(n * ROW);
        true
    }

    /// "left", "far left", "left of violas".
    fn side(&mut self) -> Result<bool, SeatFault> {
        let mut degrees = SIDE;
        let mut at = 0;
        if let Some((_, d)) = SIDES.iter().find(|(w, _)| *w == self.word(0)) {
            (degrees, at) = (*d, 1);
        }
        let sign = match self.word(at) {
            "left" => -1.0,
            "right" => 1.0,
            _ => return Ok(false),
        };
        self.at += at + 1;
        if at == 0 && self.takes_one(&["of", "from"]) {
            let them = self.name()?;
            self.place = self.beside(&them, sign);
        } else {
            self.turn(sign * degrees);
        }
        Ok(true)
    }

    /// "2 m right", "2 m right of violas", "6 m from the conductor", "30 degrees left", "-3.6, 2.2".
    fn number(&mut self) -> Result<bool, SeatFault> {
        let begin = self.at;
        let word = self.word(0);
        let spoken = NUMBERS.iter().find(|(w, _)| *w == word).map(|(_, n)| *n);
        let Some(n) = spoken.or_else(|| word.parse().ok().filter(|n: &f64| n.is_finite())) else {
            return Ok(false);
        };
        self.at += 1;
        if self.takes_one(&["degrees", "degree"]) {
            let sign = if self.takes("left") {
                -1.0
            } else if self.takes("right") {
                1.0
            } else {
                return Err(self.fault(
                    begin,
                    self.at,
                    "degrees to which side?".into(),
                    "say: 30 degrees left".into(),
                ));
            };
            self.turn(sign * n.clamp(0.0, 180.0));
            return Ok(true);
        }
        self.takes("a");
        if !self.takes_one(&["m", "metres", "metre", "meters", "meter"]) {
            let Ok(y) = self.word(0).parse::<f64>() else {
                let help = "write metres, 2 m right, or two numbers, to the right and upstage: -3.6, 2.2";
                return Err(self.fault(begin, self.at, format!("{n} of what?"), help.into()));
            };
            self.at += 1;
            self.takes("m");
            self.place = (n, y);
            return Ok(true);
        }
        if self.takes_one(&["from the conductor", "away", "from conductor"]) {
            self.away(n);
            return Ok(true);
        }
        if self.takes_one(&["nearer", "closer"]) {
            self.place = along(self.place, -n);
            return Ok(true);
        }
        if self.takes_one(&["further away", "farther away", "further", "farther"]) {
            self.place = along(self.place, n);
            return Ok(true);
        }
        let way = if self.takes_one(&["to the left", "left"]) {
            (-n, 0.0)
        } else if self.takes_one(&["to the right", "right"]) {
            (n, 0.0)
        } else if self.takes_one(&["upstage", "back", "further back"]) {
            (0.0, n)
        } else if self.takes_one(&["downstage", "forward", "forwards"]) {
            (0.0, -n)
        } else if self.takes("behind") {
            let them = self.name()?;
            self.place = along(them.place(), n);
            return Ok(true);
        } else if self.takes_one(&["in front of", "before"]) {
            let them = self.name()?;
            self.place = along(them.place(), -n);
            return Ok(true);
        } else {
            let help = "left, right, upstage, downstage, nearer, further, from the conductor, behind or in front of somebody";
            return Err(self.fault(begin, self.at, format!("{n} m whereto?"), help.into()));
        };
        if self.takes_one(&["of", "from", "than"]) {
            let them = self.name()?;
            self.place = them.place();
        }
        self.place = (self.place.0 + way.0, self.place.1 + way.1);
        Ok(true)
    }

    /// The chairs that the next words name: one by its id or its name, or all whose names begin so.
    fn name(&mut self) -> Result<Named, SeatFault> {
        self.takes("the");
        let begin = self.at;
        for length in (1..=4.min(self.words.len() - self.at)).rev() {
            let said: Vec<&str> =
                self.words[self.at..self.at + length].iter().map(|w| w.text.as_str()).collect();
            let said = plain(&said.join(" "));
            let exact = |o: &&Sitting| plain(&o.id) == said || plain(&o.name) == said;
            let begins = |o: &&Sitting| {
                let starts = |name: &str| plain(name).strip_prefix(&said).is_some_and(|r| r.starts_with(' '));
                starts(&o.id) || starts(&o.name)
            };
            let mut found: Vec<&Sitting> = self.others.iter().filter(exact).collect();
            if found.is_empty() {
                found = self.others.iter().filter(begins).collect();
            }
            if found.is_empty() {
                continue;
            }
            self.at += length;
            let left = found.iter().map(|o| o.x - o.half_width).fold(f64::INFINITY, f64::min);
            let right = found.iter().map(|o| o.x + o.half_width).fold(f64::NEG_INFINITY, f64::max);
            let y = found.iter().map(|o| o.y).sum::<f64>() / found.len() as f64;
            let (x, half_width) = match found.as_slice() {
                [one] => (one.x, one.half_width),
                _ => ((left + right) / 2.0, (right - left) / 2.0),
            };
            return Ok(Named { word: said, x, y, half_width });
        }
        let said = self.word(0).to_string();
        let ids = || self.others.iter().map(|o| o.id.as_str());
        let help = nearest(&said, ids()).map_or_else(
            || format!("chairs are: {}", ids().collect::<Vec<_>>().join(", ")),
            |n| format!("did you mean `{n}`?"),
        );
        let message = if said.is_empty() {
            "the name of a chair is missing".to_string()
        } else if plain(&said) == plain(&self.here.id) {
            "a chair cannot sit beside itself".to_string()
        } else {
            format!("there is no chair `{said}`")
        };
        Err(self.fault(begin, begin + 1, message, help))
    }

    /// At this distance from the conductor, in the direction in which it is.
    fn away(&mut self, metres: f64) {
        let (x, y) = direction(self.place);
        self.place = (x * metres, y * metres);
    }

    /// In this direction from the conductor, as far as it is.
    fn turn(&mut self, degrees: f64) {
        let angle = degrees * std::f64::consts::PI / 180.0;
        let far = far(self.place).max(0.5);
        self.place = (far * math::sin(angle), far * math::cos(angle));
    }

    fn beside(&self, them: &Named, side: f64) -> (f64, f64) {
        (them.x + side * (them.half_width + self.here.half_width + GAP), them.y)
    }
}

struct Named {
    word: String,
    x: f64,
    y: f64,
    half_width: f64,
}

impl Named {
    fn place(&self) -> (f64, f64) {
        (self.x, self.y)
    }
}

/// Small letters, words apart by one space, without the `s` of more than one.
fn plain(name: &str) -> String {
    let words = name.to_lowercase();
    let words = words.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
    words
        .map(|w| if w.len() > 3 { w.strip_suffix('s').unwrap_or(w) } else { w })
        .collect::<Vec<_>>()
        .join(" ")
}

fn far(place: (f64, f64)) -> f64 {
    math::sqrt(place.0 * place.0 + place.1 * place.1)
}

/// From the conductor to a place; straight ahead for the conductor's own.
fn direction(place: (f64, f64)) -> (f64, f64) {
    let far = far(place);
    if far < 1e-6 { (0.0, 1.0) } else { (place.0 / far, place.1 / far) }
}

/// So many metres further from the conductor.
fn along(place: (f64, f64), metres: f64) -> (f64, f64) {
    let (x, y) = direction(place);
    let far = (far(place) + metres).max(0.0);
    (x * far, y * far)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage() -> Vec<Sitting> {
        let one = |id: &str, name: &str, x, y, half_width| Sitting {
            id: id.into(),
            name: name.into(),
            x,
            y,
            half_width,
        };
        vec![
            one("flutes", "Flutes", -1.0, 6.0, 0.5),
            one("oboe", "Oboe", 1.0, 6.0, 0.0),
            one("horns-1", "Horns I", -4.0, 8.0, 1.0),
            one("horns-2", "Horns II", -2.0, 8.0, 1.0),
            one("cor-anglais", "English horn", 3.0, 6.0, 0.0),
            one("violas", "Violas", 2.0, 4.0, 1.5),
            one("violins-1", "Violins I", -3.0, 4.0, 2.0),
        ]
    }

    fn at(text: &str) -> Result<(f64, f64), SeatFault> {
        let me = Sitting { id: "harp".into(), name: "Harp".into(), x: 3.0, y: 4.0, half_width: 0.5 };
        seat_by_words(text, &me, &stage(), Some((-5.0, 6.0)))
    }

    /// Worked out by hand from the seats above.
    #[test]
    fn words_lead_to_places() {
        let places = [
            ("second row", (2.4, 3.2)),
            ("in the second row, left", (-2.83, 2.83)),
            ("row 5", (6.0, 8.0)),
            ("last row", (6.0, 8.0)),
            ("centre", (0.0, 5.0)),
            ("2 m right of violas", (4.0, 4.0)),
            ("2m right of the Violas", (4.0, 4.0)),
            ("two metres to the left", (1.0, 4.0)),
            ("right of violas", (4.8, 4.0)),
            ("left of violins I", (-6.3, 4.0)),
            ("beside the oboe", (2.3, 6.0)),
            ("between flutes and oboe", (0.0, 6.0)),
            ("between the flutes and the English horn, 1 m upstage", (1.0, 7.0)),
            ("behind violas", (2.67, 5.34)),
            ("5 m from the conductor", (3.0, 4.0)),
            ("10 m away", (6.0, 8.0)),
            ("2.5 m nearer", (1.5, 2.0)),
            ("30 degrees right", (2.5, 4.33)),
            ("-3.6, 2.2", (-3.6, 2.2)),
            ("as usual", (-5.0, 6.0)),
            ("usual, 1 m forward", (-5.0, 5.0)),
            // Both horns: from -5 to -1.
            ("left of the horns", (-6.3, 8.0)),
            ("1 m in front of cor-anglais", (2.55, 5.11)),
        ];
        for (text, (x, y)) in places {
            let (a, b) = at(text).unwrap_or_else(|f| panic!("{text}: {f:?}"));
            assert!((a - x).abs() < 0.011 && (b - y).abs() < 0.011, "{text}: {a} {b}, not {x} {y}");
        }
    }

    #[test]
    fn faults_name_the_word_and_what_would_be_right() {
        let fault = |text: &str| at(text).unwrap_err();
        let f = fault("behind the hornz");
        assert_eq!(&"behind the hornz"[f.from..f.to], "hornz");
        assert!(f.message.contains("no chair `hornz`"));
        assert!(fault("behind the hornss").message.contains("no chair `hornss`"));
        let f = fault("2 m right of violsa");
        assert!(f.help.contains("violas"), "{f:?}");
        let f = fault("beside the harp");
        assert!(f.message.contains("itself"));
        assert!(fault("lefft").help.contains("left"));
        assert!(fault("").message.contains("no place"));
        assert!(fault("3 m").message.contains("whereto"));
        assert!(fault("3").message.contains("of what"));
        assert!(fault("row").message.contains("which row"));
        assert!(fault("500 m left").message.contains("outside"));
        assert!(fault("between oboe").message.contains("and whom"));
        assert!(fault("behind").message.contains("missing"));
    }

    proptest::proptest! {
        #[test]
        fn no_words_break_it(text in "[a-z0-9 ,.m\\-éß]{0,40}") {
            if let Ok((x, y)) = at(&text) {
                assert!(x.abs() <= 100.0 && y.abs() <= 100.0);
            }
        }

        #[test]
        fn no_order_of_known_words_breaks_it(words in proptest::collection::vec(proptest::sample::select(vec![
            "behind", "the", "left", "far", "row", "2", "m", "of", "violas", "between", "and", "in front of", "last", "first", "usual", "degrees", "-1e308", "from the conductor",
        ]), 0..9)) {
            let text = words.join(" ");
            match at(&text) {
                Ok((x, y)) => assert!(x.is_finite() && y.is_finite()),
                Err(f) => assert!(text.get(f.from..f.to).is_some()),
            }
        }
    }
}
