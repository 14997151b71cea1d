//! `notations`: slurs, articulations, ornaments, technical signs, tremolo and what else stands at a note.

use super::neighbour::accidental;
use super::sheet::{RawKind, RawNote, RawSlur, RawTremolo, TremoloKind};
use super::walk::Walker;
use super::warn::Doubts;
use super::xml::{children, has, number, text};
use ripieno_music::{Arpeggio, Glide, Mark, OrnamentKind, Playing};
use roxmltree::Node;

impl Walker {
    /// Reads a note's notations into it. Gives the ends of slurs at it.
    pub fn notations(
        &mut self,
        node: Node<'_, '_>,
        note: &mut RawNote,
        grace: bool,
        doubts: &mut Doubts,
    ) -> Vec<RawSlur> {
        let mut slurs = Vec::new();
        let tied_only = !has(node, "tie");
        for item in children(node, "notations").flat_map(|n| n.children()).filter(Node::is_element) {
            match item.tag_name().name() {
                "tied" => match item.attribute("type") {
                    Some("start") if tied_only => note.tie_start = true,
                    Some("stop") if tied_only => note.tie_stop = true,
                    Some("continue") if tied_only => (note.tie_start, note.tie_stop) = (true, true),
                    Some("let-ring") => note.marks.add(Mark::LetRing),
                    _ => {}
                },
                "slur" => {
                    let starts = item.attribute("type") == Some("start");
                    if starts || item.attribute("type") == Some("stop") {
                        slurs.push(RawSlur {
                            at: note.at,
                            rank: note.group,
                            number: number(item),
                            starts,
                            voice: note.voice,
                            grace,
                        });
                    }
                }
                "articulations" => self.articulations(item, note, doubts),
                "technical" => self.technical(item, note, doubts),
                "ornaments" => self.ornaments(item, note, doubts),
                "fermata" => note.marks.add(Mark::Fermata),
                "arpeggiate" => {
                    let down = item.attribute("direction") == Some("down");
                    note.arpeggio = Some(if down { Arpeggio::Down } else { Arpeggio::Up });
                }
                "non-arpeggiate" => note.arpeggio = Some(Arpeggio::Together),
                "glissando" if item.attribute("type") == Some("start") => note.glide = Some(Glide::Glissando),
                "slide" if item.attribute("type") == Some("start") => note.glide = Some(Glide::Slide),
                "dynamics" => {
                    for dynamic in super::direction::dynamics(item) {
                        self.bar.directions.push((note.at, Some(note.staff), RawKind::Dynamic(dynamic)));
                    }
                }
                _ => {}
            }
        }
        if note.marks.has(Mark::Staccato) && note.marks.has(Mark::Tenuto) {
            note.marks.add(Mark::Portato);
        }
        if let Some(play) = super::xml::child(node, "play") {
            self.play(play, note);
        }
        self.bar.slurs.extend(&slurs);
        slurs
    }

    /// `play` (MusicXML 3.0): mutes by name.
    fn play(&mut self, node: Node<'_, '_>, note: &RawNote) {
        for mute in children(node, "mute") {
            let playing = if text(mute) == "off" { Playing::SenzaSord } else { Playing::ConSord };
            self.bar.directions.push((note.at, Some(note.staff), RawKind::Playing(playing)));
        }
    }

    fn articulations(&mut self, node: Node<'_, '_>, note: &mut RawNote, doubts: &mut Doubts) {
        for item in node.children().filter(Node::is_element) {
            note.marks.add(match item.tag_name().name() {
                "accent" => Mark::Accent,
                "strong-accent" => Mark::Marcato,
                "staccato" => Mark::Staccato,
                "tenuto" => Mark::Tenuto,
                "detached-legato" => Mark::Portato,
                "staccatissimo" => Mark::Staccatissimo,
                "spiccato" => Mark::Spiccato,
                "scoop" => Mark::Scoop,
                "plop" => Mark::Plop,
                "doit" => Mark::Doit,
                "falloff" => Mark::Falloff,
                "breath-mark" => Mark::BreathAfter,
                "caesura" => Mark::CaesuraAfter,
                "stress" => Mark::Stress,
                "unstress" => Mark::Unstress,
                "soft-accent" => Mark::SoftAccent,
                "other-articulation" => {
                    self.named(item, note, doubts);
                    continue;
                }
                _ => continue,
            });
        }
    }

    fn technical(&mut self, node: Node<'_, '_>, note: &mut RawNote, doubts: &mut Doubts) {
        for item in node.children().filter(Node::is_element) {
            note.marks.add(match item.tag_name().name() {
                "up-bow" => Mark::UpBow,
                "down-bow" => Mark::DownBow,
                "harmonic" => Mark::Harmonic,
                "open-string" => Mark::OpenString,
                "thumb-position" => Mark::Thumb,
                "double-tongue" => Mark::DoubleTongue,
                "triple-tongue" => Mark::TripleTongue,
                "stopped" => Mark::Stopped,
                "open" => Mark::Open,
                "snap-pizzicato" => Mark::SnapPizz,
                "fingernails" => Mark::Fingernails,
                "heel" => Mark::Heel,
                "toe" => Mark::Toe,
                "golpe" => Mark::Golpe,
                "brass-bend" | "flip" | "smear" => Mark::Brass,
                "other-technical" => {
                    self.named(item, note, doubts);
                    continue;
                }
                _ => continue,
            });
        }
    }

    /// A sign that the standard has no element for, by its name.
    fn named(&mut self, item: Node<'_, '_>, note: &mut RawNote, doubts: &mut Doubts) {
        let glyph = item.attribute("smufl").unwrap_or("");
        let name = if text(item).is_empty() { glyph } else { text(item) };
        if let Some(kind) = named_ornament(item) {
            note.ornament = note.ornament.or_else(|| self.neighbours(note, kind, None, None));
        } else if let Some(mark) = super::words::mark(name).or_else(|| super::words::glyph_mark(glyph)) {
            note.marks.add(mark);
        } else if !name.is_empty() {
            self.doubt(doubts, format!("the sign {name:?} is not known and is passed over"));
        }
    }

    fn ornaments(&mut self, node: Node<'_, '_>, note: &mut RawNote, doubts: &mut Doubts) {
        let mut kinds: Vec<(OrnamentKind, Option<i16>, Option<i16>)> = Vec::new();
        let mut waves = false;
        for item in node.children().filter(Node::is_element) {
            let kind = match item.tag_name().name() {
                "trill-mark" => OrnamentKind::Trill,
                "turn" | "vertical-turn" => OrnamentKind::Turn,
                "delayed-turn" => OrnamentKind::DelayedTurn,
                "inverted-turn" | "inverted-vertical-turn" => OrnamentKind::InvertedTurn,
                "delayed-inverted-turn" => OrnamentKind::DelayedInvertedTurn,
                "shake" => OrnamentKind::Shake,
                // The standard calls the short wavy line without a stroke inverted.
                "inverted-mordent" => OrnamentKind::UpperMordent,
                "mordent" => OrnamentKind::Mordent,
                "schleifer" => OrnamentKind::Schleifer,
                "haydn" => OrnamentKind::Haydn,
                "wavy-line" => {
                    waves |= item.attribute("type") == Some("start");
                    continue;
                }
                "tremolo" => {
                    note.tremolo = tremolo(item).or(note.tremolo);
                    continue;
                }
                "accidental-mark" => {
                    if let (Some(last), Some(alter)) = (kinds.last_mut(), accidental(text(item))) {
                        let lower = match item.attribute("placement") {
                            Some("below") => true,
                            Some(_) => false,
                            None => last.0 == OrnamentKind::Mordent,
                        };
                        if lower && last.0 != OrnamentKind::Trill {
                            last.2 = Some(alter);
                        } else {
                            last.1 = Some(alter);
                        }
                    }
                    continue;
                }
                "other-ornament" => {
                    match named_ornament(item) {
                        Some(kind) => kinds.push((kind, None, None)),
                        None => self.named(item, note, doubts),
                    }
                    continue;
                }
                _ => continue,
            };
            kinds.push((kind, None, None));
        }
        if kinds.is_empty() && waves {
            kinds.push((OrnamentKind::Trill, None, None));
        }
        if kinds.len() > 1 {
            self.doubt(doubts, "of several ornaments on one note the first is played");
        }
        if let (Some((kind, above, below)), None) = (kinds.first(), note.ornament) {
            note.ornament = self.neighbours(note, *kind, *above, *below);
        }
    }
}

/// An ornament by its name or by its glyph.
fn named_ornament(item: Node<'_, '_>) -> Option<OrnamentKind> {
    super::words::ornament(text(item))
        .or_else(|| super::words::glyph_ornament(item.attribute("smufl").unwrap_or("")))
}

fn tremolo(node: Node<'_, '_>) -> Option<RawTremolo> {
    let strokes = text(node).parse::<u8>().ok();
    let kind = match node.attribute("type") {
        Some("start") => TremoloKind::First,
        Some("stop") => TremoloKind::Second,
        Some("unmeasured") => {
            return Some(RawTremolo { strokes: strokes.unwrap_or(0).min(8), kind: TremoloKind::Single });
        }
        _ => TremoloKind::Single,
    };
    let strokes = strokes.unwrap_or(3).min(8);
    (strokes > 0).then_some(RawTremolo { strokes, kind })
}
