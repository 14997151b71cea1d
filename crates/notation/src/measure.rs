//! Bars of one part, one after the other.

use crate::beams;
use crate::clefs;
use crate::directions::{self, Spot};
use crate::notes::{Voice, ticks};
use crate::rhythm;
use crate::spell::WrittenKey;
use crate::write::{Staffed, shift};
use crate::xml::Xml;
use ripieno_music::{Bar, TimeMarkKind};
use ripieno_units::Beats;

/// More voices than this on a staff are written without their rests.
const WITH_RESTS: usize = 2;

/// What was printed last, so that only changes are printed.
#[derive(Default)]
struct Printed {
    key: Option<WrittenKey>,
    metre: Option<(u16, u16)>,
    divisions: Option<u32>,
    clefs: Vec<clefs::Figured>,
    spot: usize,
}

/// Writes a part.
pub(crate) fn part(xml: &mut Xml, staffed: &mut Staffed<'_>, bars: &[Bar]) {
    xml.open("part", &[("id", &staffed.id.clone())]);
    let counted = counted(staffed, bars);
    let mut printed = Printed::default();
    for (i, bar) in bars.iter().enumerate() {
        let number = bar.number.to_string();
        let mut attributes = vec![("number", number.as_str())];
        if bar.number == 0 {
            attributes.push(("implicit", "yes"));
        }
        xml.open("measure", &attributes);
        let key = staffed.key(bar);
        for memory in &mut staffed.memory {
            memory.bar(key);
        }
        attributes_of(xml, staffed, &mut printed, i, bar, key, counted[i]);
        let from = printed.spot;
        let last = i + 1 == bars.len();
        let end = bar.at + bar.length;
        let here = |s: &Spot| s.at < end || last || (s.ends && s.at <= end);
        // Ends of lines on the barline belong to this bar, what begins there to the next: they are in order.
        let mut to = from;
        while staffed.spots.get(to).is_some_and(here) {
            to += 1;
        }
        printed.spot = to;
        let spots: Vec<Spot> = staffed.spots[from..to].to_vec();
        music(xml, staffed, i, bar, &spots);
        barline(xml, staffed, bar, last);
        xml.close();
    }
    xml.close();
}

/// For each bar of a part how many empty ones begin with it, where these are counted together.
fn counted(staffed: &Staffed<'_>, bars: &[Bar]) -> Vec<usize> {
    let mut counted = vec![0; bars.len()];
    if !staffed.alone {
        return counted;
    }
    let plays: Vec<bool> = (0..bars.len()).map(|i| staffed.drawn.iter().any(|d| d[i].is_some())).collect();
    let full = |i: usize| bars[i].length == bars[i].metre.bar();
    let marked = |i: usize| {
        let (from, to) = (bars[i].at, bars[i].at + bars[i].length);
        // What stands on the first beat stands over the count.
        let first = staffed.spots.partition_point(|s| s.at < from);
        let rest = staffed.spots.partition_point(|s| s.at <= from);
        let after = staffed.spots.partition_point(|s| s.at < to);
        let ends = staffed.spots[first..rest].iter().all(|s| s.ends);
        (!ends, after > rest)
    };
    let mut i = 0;
    while i < bars.len() {
        let mut end = i;
        while end < bars.len() && !plays[end] && full(end) {
            let (first, later) = marked(end);
            let changes = end > i
                && (first
                    || bars[end].metre != bars[end - 1].metre
                    || staffed.key(&bars[end]) != staffed.key(&bars[end - 1])
                    || staffed.clefs.iter().any(|c| c[end] != c[end - 1])
                    || double(staffed, bars[end].at));
            if changes || later {
                break;
            }
            end += 1;
        }
        if end - i > 1 {
            counted[i] = end - i;
        }
        i = end.max(i + 1);
    }
    counted
}

fn double(staffed: &Staffed<'_>, at: Beats) -> bool {
    staffed.timeline.marks.iter().any(|m| m.kind == TimeMarkKind::DoubleBar && m.at == at)
}

fn barline(xml: &mut Xml, staffed: &Staffed<'_>, bar: &Bar, last: bool) {
    let style = if last {
        "light-heavy"
    } else if double(staffed, bar.at + bar.length) {
        "light-light"
    } else {
        return;
    };
    xml.open("barline", &[("location", "right")]);
    xml.text("bar-style", style);
    xml.close();
}

fn attributes_of(
    xml: &mut Xml,
    staffed: &Staffed<'_>,
    printed: &mut Printed,
    i: usize,
    bar: &Bar,
    key: WrittenKey,
    counted: usize,
) {
    let first = printed.divisions.is_none();
    let divisions = staffed.divisions[i];
    let now: Vec<clefs::Figured> = staffed.clefs.iter().map(|c| c[i]).collect();
    let metre = (bar.metre.beats, bar.metre.unit);
    let new = (
        printed.divisions != Some(divisions),
        printed.key != Some(key),
        printed.metre != Some(metre),
        printed.clefs != now,
    );
    if new == (false, false, false, false) && counted == 0 {
        return;
    }
    xml.open("attributes", &[]);
    if new.0 {
        xml.text("divisions", divisions);
    }
    if new.1 && !staffed.player.instrument.unpitched {
        xml.open("key", &[]);
        xml.text("fifths", key.fifths);
        if !staffed.timeline.keys.is_empty() {
            xml.text("mode", if key.minor { "minor" } else { "major" });
        }
        xml.close();
    }
    if new.2 {
        xml.open("time", &[]);
        xml.text("beats", metre.0);
        xml.text("beat-type", metre.1);
        xml.close();
    }
    if first && staffed.staves > 1 {
        xml.text("staves", staffed.staves);
    }
    for (staff, clef) in now.iter().enumerate() {
        if printed.clefs.get(staff) != Some(clef) {
            let (sign, line, octaves) = clefs::sign(*clef);
            if staffed.staves > 1 {
                xml.open("clef", &[("number", &(staff + 1).to_string())]);
            } else {
                xml.open("clef", &[]);
            }
            xml.text("sign", sign);
            if line > 0 {
                xml.text("line", line);
            }
            if octaves != 0 {
                xml.text("clef-octave-change", octaves);
            }
            xml.close();
        }
    }
    if first && staffed.by.semitones != 0 {
        let (octaves, rest) = (staffed.by.semitones / 12, staffed.by.semitones % 12);
        xml.open("transpose", &[]);
        xml.text("diatonic", staffed.by.steps - 7 * octaves);
        xml.text("chromatic", rest);
        if octaves != 0 {
            xml.text("octave-change", octaves);
        }
        xml.close();
    }
    if counted > 0 {
        xml.open("measure-style", &[]);
        xml.text("multiple-rest", counted);
        xml.close();
    }
    xml.close();
    *printed = Printed {
        key: Some(key),
        metre: Some(metre),
        divisions: Some(divisions),
        clefs: now,
        spot: printed.spot,
    };
}

/// Notes and directions of a bar, voice after voice.
fn music(xml: &mut Xml, staffed: &mut Staffed<'_>, i: usize, bar: &Bar, spots: &[Spot]) {
    let divisions = staffed.divisions[i];
    let whole = bar.length.ticks(divisions);
    let beat = rhythm::beat(bar.metre.beats, bar.metre.unit);
    let shift = shift(bar, i);
    let mut begun = false;
    let lanes = std::mem::take(&mut staffed.lanes);
    let drawn = std::mem::take(&mut staffed.drawn);
    for staff in 1..=staffed.staves {
        let of_staff: Vec<usize> = (0..lanes.len()).filter(|l| lanes[*l].staff == staff).collect();
        let playing: Vec<usize> = of_staff.iter().copied().filter(|l| drawn[*l][i].is_some()).collect();
        let mut own = spots.iter().filter(|s| s.staff == staff).peekable();
        let writing = if playing.is_empty() { &of_staff[..of_staff.len().min(1)] } else { &playing[..] };
        for (k, lane) in writing.iter().enumerate() {
            if begun {
                xml.open("backup", &[]);
                xml.text("duration", whole);
                xml.close();
            }
            begun = true;
            let Some(bar_drawn) = &drawn[*lane][i] else {
                for spot in own.by_ref() {
                    say(xml, staffed, spot, (spot.at - bar.at).ticks(divisions));
                }
                rest(xml, staffed, &lanes[*lane], bar, whole, divisions, shift);
                continue;
            };
            let voice = Voice {
                number: lanes[*lane].voice,
                staff,
                slur: 1 + 2 * (lane % 8),
                stem: (writing.len() > 1).then_some(if k % 2 == 0 { "up" } else { "down" }),
                chords: &lanes[*lane].chords,
                beams: beams::of(&bar_drawn.pieces, beat, shift),
                drawn: bar_drawn,
            };
            for (p, piece) in bar_drawn.pieces.iter().enumerate() {
                if k == 0 {
                    let reach = bar.at + piece.at + piece.length;
                    while let Some(spot) = own.next_if(|s| s.at < reach) {
                        let offset = (spot.at - bar.at).ticks(divisions) - piece.at.ticks(divisions);
                        say(xml, staffed, spot, offset);
                    }
                }
                if piece.event.is_none() && k >= WITH_RESTS {
                    xml.open("forward", &[]);
                    xml.text("duration", ticks(piece.at, piece.length, divisions));
                    xml.text("voice", voice.number);
                    if staffed.staves > 1 {
                        xml.text("staff", staff);
                    }
                    xml.close();
                } else {
                    staffed.piece(xml, &voice, p, bar.at, divisions);
                }
            }
            if k == 0 {
                for spot in own.by_ref() {
                    say(xml, staffed, spot, (spot.at - bar.at).ticks(divisions) - whole);
                }
            }
        }
    }
    staffed.lanes = lanes;
    staffed.drawn = drawn;
}

fn say(xml: &mut Xml, staffed: &Staffed<'_>, spot: &Spot, offset: i64) {
    directions::write(xml, spot, offset, staffed.staves, staffed.player.instrument.family, staffed.top);
}

/// A bar in which a staff is silent.
fn rest(
    xml: &mut Xml,
    staffed: &mut Staffed<'_>,
    lane: &crate::voices::Lane<'_>,
    bar: &Bar,
    whole: i64,
    divisions: u32,
    shift: Beats,
) {
    if bar.length == bar.metre.bar() {
        xml.open("note", &[]);
        xml.empty("rest", &[("measure", "yes")]);
        xml.text("duration", whole);
        xml.text("voice", lane.voice);
        if staffed.staves > 1 {
            xml.text("staff", lane.staff);
        }
        return xml.close();
    }
    // A bar that is shorter or longer than its metre: its rests say how long it is.
    let silent = [rhythm::Event { from: Beats::ZERO, to: bar.length, id: None }];
    let drawn = rhythm::draw(&silent, &rhythm::grids(bar.metre.beats, bar.metre.unit), shift);
    let beams = vec![Vec::new(); drawn.pieces.len()];
    let (number, staff) = (lane.voice, lane.staff);
    let voice = Voice { number, staff, slur: 1, stem: None, chords: &[], drawn: &drawn, beams };
    for p in 0..drawn.pieces.len() {
        staffed.piece(xml, &voice, p, bar.at, divisions);
    }
}
