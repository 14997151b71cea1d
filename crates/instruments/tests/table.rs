//! The table against published figures, and against itself.

use ripieno_instruments::{Clef, Family, Instrument, Range, by_id, ids, table};

fn get(id: &str) -> &'static Instrument {
    by_id(id).unwrap_or_else(|| panic!("{id} is missing"))
}

fn hard(id: &str) -> (u8, u8) {
    get(id).hard.map(|Range { low, high }| (low, high)).unwrap_or_default()
}

/// Key of the equal-tempered note nearest to a frequency, A4 = 440 Hz.
fn key(hertz: f64) -> u8 {
    (69.0 + 12.0 * ripieno_units::math::log2(hertz / 440.0)).round() as u8
}

#[test]
fn every_entry_is_complete() {
    assert!(table().iter().filter(|i| !i.unpitched).count() >= 50);
    assert!(table().iter().filter(|i| i.unpitched).count() >= 18);
    assert_eq!(ids().count(), table().len());
    for i in table() {
        let id = &i.id;
        let languages = [&i.names.english, &i.names.italian, &i.names.german, &i.names.french];
        assert!(
            languages.iter().all(|l| !l.is_empty() && l.iter().all(|n| !n.trim().is_empty())),
            "{id}: names"
        );
        assert!(!i.abbreviations.is_empty(), "{id}: abbreviations");
        assert!(!i.clefs.is_empty(), "{id}: clefs");
        assert_eq!(i.unpitched, i.clefs == [Clef::Percussion], "{id}: clef");
        assert_eq!(i.unpitched, i.hard.is_none(), "{id}: range");
        assert_eq!(i.hard.is_none(), i.comfortable.is_none(), "{id}: comfortable range");
        let blown = matches!(i.family, Family::Woodwind | Family::Brass | Family::Voices);
        // A bag takes the place of the breath.
        assert_eq!(blown && id != "pipes-chanter", i.breath.is_some(), "{id}: breath");
        assert_eq!(i.family == Family::Strings, i.bow.is_some(), "{id}: bow");
        assert_eq!(i.family == Family::Voices, i.voice.is_some(), "{id}: voice");
        assert_eq!(i.decays, !i.decay.is_empty(), "{id}: decay");
        assert!(i.players >= 1 && i.polyphony.notes >= 1 && i.polyphony.broken >= i.polyphony.notes, "{id}");
        for of in ["names", "written", "polyphony", "repetition", "midi", "seat"] {
            assert!(i.source(of).is_some_and(|s| s.len() > 10), "{id}: source of {of}");
        }
        assert_eq!(i.hard.is_some(), i.source("range").is_some(), "{id}: source of range");
        assert_eq!(i.breath.is_some(), i.source("breath").is_some(), "{id}: source of breath");
        assert_eq!(i.level.is_some(), i.source("level").is_some(), "{id}: source of level");
    }
}

#[test]
fn values_agree_with_each_other() {
    for i in table() {
        let id = &i.id;
        if let (Some(h), Some(c)) = (i.hard, i.comfortable) {
            assert!(h.low <= c.low && c.low < c.high && c.high <= h.high, "{id}: {h:?} {c:?}");
        }
        if let Some(b) = i.breath {
            assert!(b.flow_p < b.flow_ff && b.hold_ff < b.hold_p, "{id}: {b:?}");
            // UNSW Physics (J. Wolfe): 5 litres last 5 to 50 s. Bouhuys 1964: flows up to 1.6 l/s, down to 0.05.
            assert!((0.05..=1.6).contains(&b.flow_p) && (0.05..=1.6).contains(&b.flow_ff), "{id}");
            // The hold is the air over the flow, unless stale air ends it sooner (the oboes).
            assert!(b.hold_ff <= b.litres / b.flow_ff * 1.2 + 0.5, "{id}: {b:?}");
            assert!(b.hold_p <= b.litres / b.flow_p * 1.2 + 0.5, "{id}: {b:?}");
        }
        if let Some(b) = i.bow {
            assert!(b.hold_ff < b.hold_p, "{id}");
        }
        if let Some(l) = i.level {
            assert!(l.pp < l.forte && l.forte < l.ff, "{id}: {l:?}");
        }
        if let Some(a) = i.attack {
            assert!(a.sharp.0 <= a.sharp.1 && a.soft.0 <= a.soft.1 && a.sharp.0 <= a.soft.0, "{id}: {a:?}");
        }
        // Low notes ring longer.
        for pair in i.decay.windows(2) {
            assert!(pair[0].key < pair[1].key && pair[0].longest >= pair[1].longest, "{id}: {pair:?}");
        }
        assert!(i.decay.iter().all(|d| d.shortest > 0.0 && d.shortest <= d.longest), "{id}");
        assert!(i.repetition.fast.is_none_or(|f| f >= i.repetition.single), "{id}: repetition");
        assert!(i.programs.iter().all(|p| *p < 128), "{id}");
    }
    let families: Vec<Family> = table().iter().filter(|i| !i.unpitched).map(|i| i.family).collect();
    let mut seen = families.clone();
    seen.dedup();
    assert_eq!(seen.len(), 7, "a family stands in two places of the score: {seen:?}");
}

/// HyperPhysics (Georgia State University), xylophone-marimba: the xylophone sounds from 349 to 4186 Hz, the concert
/// marimba from A2, the bass marimba from C2 (65 Hz) to C7 (2093 Hz).
#[test]
fn bars_against_hyperphysics() {
    assert_eq!(hard("xylophone"), (key(349.0), key(4186.0)));
    assert_eq!(hard("marimba"), (key(65.4), key(2093.0)));
    assert_eq!(get("marimba").comfortable.map(|c| c.low), Some(key(110.0)));
}

/// The piano's 88 keys, A0 (27.5 Hz) to C8 (4186 Hz): any handbook. The harp's 47 strings, C1 to G7, with every pedal
/// moved: harpinsideout.com, For Composers. Tubular bells C4 to F5, professional to G5: encyclopaedia page "Tubular
/// bells". Low whistle in D from D4: encyclopaedia page "Low whistle".
#[test]
fn ranges_against_handbooks() {
    assert_eq!(hard("piano"), (key(27.5), key(4186.0)));
    assert_eq!(hard("piano").1 - hard("piano").0 + 1, 88);
    assert_eq!(hard("harp"), (23, 104));
    assert_eq!(hard("tubular-bells"), (60, 79));
    assert_eq!(hard("low-whistle").0, 62);
}

/// orchestralibrary.com, Ranges of Orchestral Instruments: written D4 to C7 (piccolo), B3 to D7 (flute), C4 to C7
/// (alto flute), B3 to G6 (cor anglais), E3 to C7 (clarinets).
#[test]
fn woodwind_against_the_librarians_written_ranges() {
    for (id, low, high) in [
        ("piccolo", 62, 96),
        ("flute", 59, 98),
        ("alto-flute", 60, 96),
        ("cor-anglais", 59, 91),
        ("clarinet", 52, 96),
        ("clarinet-a", 52, 96),
    ] {
        let written = |k: u8| i16::from(k) - get(id).transposition;
        let (l, h) = hard(id);
        assert_eq!((written(l), written(h)), (low, high), "{id}");
    }
}

/// Open strings, lowest: violin G3, viola C3, cello C2, double bass E1 (with extension C1), guitar E2: any handbook.
#[test]
fn strings_begin_on_their_lowest_string() {
    for (id, open) in [("violin", 55), ("viola", 48), ("cello", 36), ("guitar", 40)] {
        assert_eq!(hard(id).0, open, "{id}");
    }
    assert_eq!((hard("double-bass").0, get("double-bass").comfortable.map(|c| c.low)), (24, Some(28)));
}

/// Transpositions: StudyStack, Instrument Appendix, and any handbook.
#[test]
fn transpositions() {
    for (id, semitones) in [
        ("piccolo", 12),
        ("alto-flute", -5),
        ("cor-anglais", -7),
        ("clarinet", -2),
        ("clarinet-a", -3),
        ("clarinet-eb", 3),
        ("bass-clarinet", -14),
        ("basset-horn", -7),
        ("oboe-d-amore", -3),
        ("contrabassoon", -12),
        ("soprano-saxophone", -2),
        ("alto-saxophone", -9),
        ("tenor-saxophone", -14),
        ("baritone-saxophone", -21),
        ("horn", -7),
        ("trumpet", -2),
        ("trumpet-c", 0),
        ("trumpet-d", 2),
        ("trumpet-eb", 3),
        ("trumpet-f", 5),
        ("glockenspiel", 24),
        ("celesta", 12),
        ("xylophone", 12),
        ("crotales", 24),
        ("double-bass", -12),
        ("guitar", -12),
        ("violin", 0),
        ("timpani", 0),
        ("trombone", 0),
        ("tuba", 0),
    ] {
        assert_eq!(get(id).transposition, semitones, "{id}");
    }
}

/// General MIDI Level 1 sound set, programs from 0.
#[test]
fn programs_against_general_midi() {
    for (id, program) in [
        ("piano", 0),
        ("celesta", 8),
        ("glockenspiel", 9),
        ("vibraphone", 11),
        ("marimba", 12),
        ("xylophone", 13),
        ("tubular-bells", 14),
        ("hammered-dulcimer", 15),
        ("violin", 40),
        ("viola", 41),
        ("cello", 42),
        ("double-bass", 43),
        ("harp", 46),
        ("timpani", 47),
        ("strings", 48),
        ("mixed-choir", 52),
        ("trumpet", 56),
        ("trombone", 57),
        ("tuba", 58),
        ("horn", 60),
        ("oboe", 68),
        ("cor-anglais", 69),
        ("bassoon", 70),
        ("clarinet", 71),
        ("piccolo", 72),
        ("flute", 73),
        ("recorder-soprano", 74),
        ("solo-fiddle", 110),
    ] {
        assert_eq!(get(id).programs.first(), Some(&program), "{id}");
    }
    for program in 40..=79 {
        assert!(table().iter().any(|i| i.programs.contains(&program)), "program {program}");
    }
    let mut first: Vec<u8> = table().iter().filter_map(|i| i.programs.first().copied()).collect();
    let count = first.len();
    first.sort_unstable();
    first.dedup();
    assert_eq!(first.len(), count, "two instruments have the same usual program");
}

/// General MIDI Level 1 percussion key map (35 to 81); 84 is in that of Level 2.
#[test]
fn percussion_keys_against_general_midi() {
    for (id, key) in [
        ("snare-drum", 38),
        ("crash-cymbals", 49),
        ("suspended-cymbal", 51),
        ("tambourine", 54),
        ("cowbell", 56),
        ("claves", 75),
        ("wood-block", 76),
        ("triangle", 81),
        ("mark-tree", 84),
        ("hi-hat", 42),
        ("hand-clap", 39),
    ] {
        assert_eq!(get(id).gm_key, Some(key), "{id}");
    }
    assert!(matches!(get("bass-drum").gm_key, Some(35 | 36)));
    assert_eq!(get("tam-tam").gm_key, None);
    assert!(table().iter().all(|i| i.gm_key.is_none() || i.unpitched));
}

/// Full orchestra 16 14 12 10 8: Rimsky-Korsakov, Principles of Orchestration, 1922; SAGE Encyclopedia of Economics
/// and Society.
#[test]
fn sections_of_the_full_orchestra() {
    let sizes: Vec<u16> =
        ["violin", "viola", "cello", "double-bass"].iter().map(|id| get(id).players).collect();
    assert_eq!(sizes, [16, 12, 10, 8]);
}

/// Rimsky-Korsakov: in forte a trumpet equals a trombone equals a tuba, twice a horn and four times a woodwind. Meyer's
/// figures agree on the order brass over woodwind.
#[test]
fn brass_is_louder_than_woodwind() {
    let forte = |id: &str| get(id).level.map_or(0.0, |l| l.forte);
    for brass in ["horn", "trumpet", "trombone", "tuba"] {
        for wind in ["flute", "oboe", "clarinet", "bassoon"] {
            assert!(forte(brass) - forte(wind) >= 6.0, "{brass} {wind}");
        }
    }
}

#[test]
fn ids_and_other_ids_lead_to_the_same_instrument() {
    for (other, id) in [
        ("soprano", "choir-sopranos"),
        ("bass-voice", "choir-basses"),
        ("choir", "mixed-choir"),
        ("english-horn", "cor-anglais"),
        ("dulcimer", "hammered-dulcimer"),
    ] {
        assert_eq!(get(other).id, id);
    }
    for wanted in [
        "violin",
        "viola",
        "cello",
        "double-bass",
        "flute",
        "piccolo",
        "alto-flute",
        "bass-flute",
        "oboe",
        "oboe-d-amore",
        "cor-anglais",
        "clarinet",
        "clarinet-a",
        "clarinet-eb",
        "bass-clarinet",
        "basset-horn",
        "bassoon",
        "contrabassoon",
        "low-whistle",
        "tin-whistle",
        "recorder-soprano",
        "recorder-alto",
        "pipes-chanter",
        "horn",
        "trumpet",
        "trumpet-c",
        "cornet",
        "trombone",
        "bass-trombone",
        "alto-trombone",
        "tuba",
        "euphonium",
        "timpani",
        "glockenspiel",
        "celesta",
        "xylophone",
        "vibraphone",
        "marimba",
        "tubular-bells",
        "crotales",
        "hammered-dulcimer",
        "harp",
        "piano",
        "organ",
        "harpsichord",
        "guitar",
        "solo-fiddle",
        "soprano",
        "alto",
        "tenor",
        "bass-voice",
        "boys-choir",
        "women",
        "men",
        "solo-soprano",
        "bass-drum",
        "snare-drum",
        "suspended-cymbal",
        "crash-cymbals",
        "tam-tam",
        "triangle",
        "mark-tree",
        "tambourine",
        "castanets",
        "wood-block",
        "temple-blocks",
        "whip",
        "sleigh-bells",
        "tom-toms",
        "wind-machine",
        "drum-kit",
    ] {
        get(wanted);
    }
    assert!(by_id("kazoo").is_none());
}

#[test]
fn each_name_of_the_table_is_recognised() {
    use ripieno_instruments::{Certainty, Query, recognise};
    let mut wrong = Vec::new();
    for i in table() {
        for name in i.names.all().chain(i.abbreviations.iter().map(String::as_str)) {
            match recognise(&Query { name, ..Query::default() }) {
                Some(g) if g.instrument.id == i.id || g.certainty != Certainty::Sure => {}
                other => {
                    wrong.push(format!("{}: {name}: {:?}", i.id, other.map(|g| g.instrument.id.clone())))
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
