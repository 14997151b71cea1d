//! `attributes`: divisions, key, time, transposition, clef.

use super::sheet::BarFacts;
use super::walk::Walker;
use super::warn::Doubts;
use super::xml::{cents, child, child_number, child_text, decimal, text};
use ripieno_music::{Key, Metre, Transposition};
use roxmltree::Node;

/// Letters in the order in which sharps come: F C G D A E B, as steps from C.
const SHARPS: [usize; 7] = [3, 0, 4, 1, 5, 2, 6];

/// A key as written: what each letter is altered by, and as a signature where it is one.
#[derive(Clone, Copy, Default)]
pub(super) struct WrittenKey {
    /// Cents by step from C.
    pub alters: [i16; 7],
    pub fifths: Option<(i8, bool)>,
}

impl WrittenKey {
    pub fn of_fifths(fifths: i8, minor: bool) -> Self {
        let mut alters = [0; 7];
        for i in 0..usize::from(fifths.unsigned_abs()) {
            if fifths > 0 {
                alters[SHARPS[i % 7]] += 100;
            } else {
                alters[SHARPS[6 - i % 7]] -= 100;
            }
        }
        Self { alters, fifths: Some((fifths, minor)) }
    }
}

impl Walker {
    pub fn attributes(&mut self, node: Node<'_, '_>, facts: &mut BarFacts, doubts: &mut Doubts) {
        for item in node.children().filter(Node::is_element) {
            match item.tag_name().name() {
                "divisions" => match decimal(text(item)).filter(|d| d.is_positive()) {
                    Some(divisions) => self.divisions = divisions,
                    None => {
                        let was = self.divisions;
                        self.doubt(
                            doubts,
                            format!("divisions of {:?} are not above zero; {was} stay", text(item)),
                        );
                    }
                },
                // Staves of one part share a key but for rare cases: the first counts.
                "key" if super::xml::number(item) == 1 => self.new_key(item, doubts),
                "time" if super::xml::number(item) == 1 => {
                    if let Some(metre) = self.new_metre(item, doubts) {
                        facts.metre = facts.metre.or(Some(metre));
                    }
                }
                "transpose" => self.new_transposition(item),
                "for-part" => {
                    // A score at concert pitch tells here how the extracted part will be transposed.
                }
                "clef" => {
                    let staff = super::xml::number(item);
                    let percussion =
                        child_text(item, "sign").is_some_and(|s| s.eq_ignore_ascii_case("percussion"));
                    self.percussion_clefs.insert(staff, percussion);
                }
                _ => {}
            }
        }
    }

    fn new_key(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) {
        let key = if let Some(fifths) = child_number::<i32>(node, "fifths") {
            if !(-7..=7).contains(&fifths) {
                self.doubt(doubts, format!("a key of {fifths} sharps is held at seven"));
            }
            let minor = child_text(node, "mode").is_some_and(|m| matches!(m, "minor" | "aeolian"));
            WrittenKey::of_fifths(fifths.clamp(-7, 7) as i8, minor)
        } else {
            let mut key = WrittenKey::default();
            let mut step = None;
            for item in node.children().filter(Node::is_element) {
                match (item.tag_name().name(), step) {
                    ("key-step", _) => step = super::note::step(text(item)),
                    ("key-alter", Some(s)) => key.alters[usize::from(s)] = cents(text(item)).unwrap_or(0),
                    _ => {}
                }
            }
            key
        };
        self.key = key;
        if let Some(key) = self.sounding_key() {
            self.bar.keys.push((self.cursor, key));
        }
    }

    /// The key in force as it sounds.
    pub fn sounding_key(&self) -> Option<Key> {
        let (fifths, minor) = self.key.fifths?;
        let t = self.transposition_of(1);
        let turned = if t.semitones % 12 == 0 {
            i32::from(fifths)
        } else {
            // A fifth up is seven semitones and four letters: fifths = 7 semitones - 12 letters.
            let exact = i32::from(fifths) + 7 * i32::from(t.semitones) - 12 * i32::from(t.steps);
            if (-7..=7).contains(&exact) { exact } else { (exact + 6).rem_euclid(12) - 6 }
        };
        Some(Key { at: self.cursor, fifths: turned.clamp(-7, 7) as i8, minor })
    }

    fn new_metre(&mut self, node: Node<'_, '_>, doubts: &mut Doubts) -> Option<Metre> {
        if child(node, "senza-misura").is_some() {
            self.metre = None;
            return None;
        }
        let mut groups: Vec<(u32, u32)> = Vec::new();
        let mut beats = None;
        for item in node.children().filter(Node::is_element) {
            match (item.tag_name().name(), beats) {
                ("beats", _) => {
                    // 3+2 and its like are summed; a half beat (2½) cannot be said in whole numbers.
                    beats = Some(
                        text(item)
                            .split('+')
                            .filter_map(|p| p.trim().parse::<u32>().ok())
                            .fold(0u32, u32::saturating_add),
                    );
                }
                ("beat-type", Some(n)) => {
                    if let Ok(unit) = text(item).parse::<u32>() {
                        groups.push((n, unit));
                    }
                    beats = None;
                }
                _ => {}
            }
        }
        let unit = groups.iter().map(|g| g.1).max().unwrap_or(0);
        let sound = |(n, u): &(u32, u32)| (1..=512).contains(n) && u.is_power_of_two() && *u <= 64;
        if groups.is_empty() || !groups.iter().all(sound) {
            self.doubt(doubts, "a time signature that cannot be counted is passed over");
            return None;
        }
        let beats: u32 = groups.iter().map(|(n, u)| n * (unit / u)).fold(0, u32::saturating_add);
        let metre = Metre { beats: beats.min(u32::from(u16::MAX)) as u16, unit: unit as u16 };
        self.metre = Some(metre);
        Some(metre)
    }

    fn new_transposition(&mut self, node: Node<'_, '_>) {
        let whole =
            |name: &str| child_text(node, name).and_then(decimal).map(|d| d.quarters().round() as i32);
        let octaves = whole("octave-change").unwrap_or(0).clamp(-10, 10);
        let chromatic = whole("chromatic").unwrap_or(0).clamp(-120, 120);
        // Without a diatonic number: the letters that so many semitones usually are.
        let diatonic =
            whole("diatonic").unwrap_or((chromatic * 7 + 6 * chromatic.signum()) / 12).clamp(-70, 70);
        let transposition = Transposition {
            semitones: (chromatic + 12 * octaves) as i16,
            steps: (diatonic + 7 * octaves) as i16,
        };
        match node.attribute("number").and_then(|n| n.trim().parse::<u8>().ok()) {
            Some(staff) => {
                self.transpositions.insert(staff, transposition);
            }
            None => {
                self.transpositions.clear();
                self.transpositions.insert(0, transposition);
            }
        }
        if self.transposition_of(1) != self.last_transposition() {
            self.bar.transpositions.push((self.cursor, self.transposition_of(1)));
        }
        // A key that stands before its transposition in the same place is read again.
        if let (Some(last), Some(key)) = (self.bar.keys.last().map(|k| k.0), self.sounding_key())
            && last == self.cursor
        {
            self.bar.keys.pop();
            self.bar.keys.push((last, key));
        }
    }

    fn last_transposition(&self) -> Transposition {
        self.bar.transpositions.last().map_or(self.bar.transposition, |t| t.1)
    }

    /// The transposition in force on a staff.
    pub fn transposition_of(&self, staff: u8) -> Transposition {
        self.transpositions.get(&staff).or_else(|| self.transpositions.get(&0)).copied().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The circle of fifths (any handbook of the elements of music).
    #[test]
    fn signatures() {
        assert_eq!(WrittenKey::of_fifths(2, false).alters, [100, 0, 0, 100, 0, 0, 0]);
        assert_eq!(WrittenKey::of_fifths(-3, true).alters, [0, 0, -100, 0, 0, -100, -100]);
        assert_eq!(WrittenKey::of_fifths(7, false).alters, [100; 7]);
    }
}
