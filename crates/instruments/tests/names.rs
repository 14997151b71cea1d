//! Names as scores and track lists print them, and what they are.
//!
//! Part names of real scores (an orchestral corpus under CC0: names only), and the trade's own abbreviations (common
//! practice, no source).

use ripieno_instruments::{Certainty, Query, by_id, recognise, recognise_all, table};

fn guess(name: &str) -> (String, Vec<u8>, bool) {
    let query = Query { name, ..Query::default() };
    match recognise(&query) {
        Some(g) => (g.instrument.id.clone(), g.numbers, g.certainty == Certainty::Sure),
        None => ("nothing".into(), vec![], false),
    }
}

/// Name, id, numbers. All certain.
const SURE: &[(&str, &str, &[u8])] = &[
    // Violins in every spelling.
    ("Vln 1", "violin", &[1]),
    ("Vl. I", "violin", &[1]),
    ("1st Violins", "violin", &[1]),
    ("Violino I", "violin", &[1]),
    ("VN1 leg", "violin", &[1]),
    ("Violini I", "violin", &[1]),
    ("Violin 1 div(2)", "violin", &[1]),
    ("Violini II", "violin", &[2]),
    ("2nd Violins", "violin", &[2]),
    ("Erste Violinen", "violin", &[1]),
    ("1. Violine", "violin", &[1]),
    ("Premiers violons", "violin", &[1]),
    ("Violons II", "violin", &[2]),
    ("VIOLINS 2", "violin", &[2]),
    ("Vlns. 2", "violin", &[2]),
    // Cor anglais.
    ("C.A.", "cor-anglais", &[]),
    ("E.H.", "cor-anglais", &[]),
    ("Engl. Hn", "cor-anglais", &[]),
    ("Cor Ang", "cor-anglais", &[]),
    ("Corno inglese", "cor-anglais", &[]),
    ("Englischhorn", "cor-anglais", &[]),
    ("English Horn", "cor-anglais", &[]),
    // Real scores.
    ("Flute 1", "flute", &[1]),
    ("Traverso 2", "flute", &[2]),
    ("F Horn 3", "horn", &[3]),
    ("Eb Horn 1", "horn", &[1]),
    ("Bb (alto) Horn 2", "horn", &[2]),
    ("Tromba 1", "trumpet", &[1]),
    ("C Trumpet 2", "trumpet-c", &[2]),
    ("Bb Trumpet 1", "trumpet", &[1]),
    ("Bb Clarinet 1", "clarinet", &[1]),
    ("A Clarinet 2", "clarinet-a", &[2]),
    ("A Bass Clarinet", "bass-clarinet", &[]),
    ("Bassoon 2", "bassoon", &[2]),
    ("Contrabassoon", "contrabassoon", &[]),
    ("Trombone 3", "trombone", &[3]),
    ("Bass Trombone", "bass-trombone", &[]),
    ("Alto Trombone", "alto-trombone", &[]),
    ("Tuba", "tuba", &[]),
    ("F, Bb Timpani", "timpani", &[]),
    ("C-G Timpani", "timpani", &[]),
    ("Pauken", "timpani", &[]),
    ("Triangle", "triangle", &[]),
    ("Celesta", "celesta", &[]),
    ("Harp", "harp", &[]),
    ("Violoncello", "cello", &[]),
    ("Contrabass", "double-bass", &[]),
    ("Viola", "viola", &[]),
    ("Piccolo", "piccolo", &[]),
    // Italian, German, French, short.
    ("Flauti I. II.", "flute", &[1, 2]),
    ("Fagotti", "bassoon", &[]),
    ("Corni in Es", "horn", &[]),
    ("Hörner in F 1 2", "horn", &[1, 2]),
    ("Posaunen", "trombone", &[]),
    ("Bratschen", "viola", &[]),
    ("Viole", "viola", &[]),
    ("Kontrabässe", "double-bass", &[]),
    ("Contrabbassi", "double-bass", &[]),
    ("Hautbois 2", "oboe", &[2]),
    ("Clarinette en la", "clarinet-a", &[]),
    ("Trompettes", "trumpet", &[]),
    ("Gran cassa", "bass-drum", &[]),
    ("Kleine Trommel", "snare-drum", &[]),
    ("Becken", "crash-cymbals", &[]),
    ("Tamtam", "tam-tam", &[]),
    ("Harfe", "harp", &[]),
    ("Arpa", "harp", &[]),
    ("Klarinette in A", "clarinet-a", &[]),
    ("Ob. 1", "oboe", &[1]),
    ("Bsn. 2", "bassoon", &[2]),
    ("Cl. 1", "clarinet", &[1]),
    ("Hn. 4", "horn", &[4]),
    ("Tpt. 1", "trumpet", &[1]),
    ("Tbn. 2", "trombone", &[2]),
    ("Timp.", "timpani", &[]),
    ("Vla.", "viola", &[]),
    ("Vc.", "cello", &[]),
    ("Picc.", "piccolo", &[]),
    ("B. Cl.", "bass-clarinet", &[]),
    ("Cbn.", "contrabassoon", &[]),
    ("Kfg.", "contrabassoon", &[]),
];

#[test]
fn names_that_are_certain() {
    for (name, id, numbers) in SURE {
        assert_eq!(guess(name), (id.to_string(), numbers.to_vec(), true), "{name}");
    }
}

/// What cannot be certain from the name alone is taken for something, and says why; or is not guessed at all.
#[test]
fn doubts_are_said() {
    for name in
        ["Bass", "Basso", "Basses", "Bassi", "Soprano Oboe 1 Violin1", "B.", "My great patch for violin"]
    {
        let found = recognise(&Query { name, ..Query::default() });
        assert!(
            found.as_ref().is_none_or(|g| matches!(&g.certainty, Certainty::Unsure(why) if why.len() > 10)),
            "{name}: {found:?}"
        );
    }
    assert!(recognise(&Query { name: "Zyx", ..Query::default() }).is_none());
    let by_program = recognise(&Query { name: "Zyx", program: Some(68), ..Query::default() }).unwrap();
    assert_eq!(by_program.instrument.id, "oboe");
    assert!(matches!(by_program.certainty, Certainty::Unsure(_)));
}

#[test]
fn a_name_tells_articulation_and_players() {
    let of = |name: &str| recognise(&Query { name, ..Query::default() }).unwrap();
    assert_eq!(of("VN1 spicc").articulations, ["spiccato"]);
    assert_eq!(of("Celli pizz.").articulations, ["pizzicato"]);
    assert_eq!((of("Flauti I. II.").players, of("Flute 1").players), (2, 1));
    assert_eq!((of("Violin 1").players, of("Violin 2").players, of("Viola").players), (16, 14, 12));
    assert_eq!(of("Violin 1").chair, "violins-1");
    assert_eq!(of("Horn in F 3").key, Some(5));
    assert!(of("Violin solo").solo);
}

#[test]
fn a_transposition_decides_between_kin() {
    let of = |name: &str, transposition: i16| {
        recognise(&Query { name, transposition: Some(transposition), ..Query::default() })
            .unwrap()
            .instrument
            .id
            .clone()
    };
    assert_eq!(of("Clarinet 1", -3), "clarinet-a");
    assert_eq!(of("Clarinet 1", -2), "clarinet");
    assert_eq!(of("Tromba 1", 2), "trumpet-d");
}

#[test]
fn a_score_explains_its_own_names() {
    let of = |names: &[&str]| -> Vec<String> {
        let queries: Vec<Query<'_>> = names.iter().map(|name| Query { name, ..Query::default() }).collect();
        recognise_all(&queries)
            .into_iter()
            .map(|g| g.map_or("nothing".into(), |g| g.instrument.id.clone()))
            .collect()
    };
    assert_eq!(
        of(&["Soprano", "Alto", "Tenor", "Bass"]),
        ["choir-sopranos", "choir-altos", "choir-tenors", "choir-basses"]
    );
    assert_eq!(of(&["Violino I", "Violino II", "Viola", "Basso"])[3], "double-bass");
    let quartet =
        ["Violin 1", "Violin 2", "Viola", "Violoncello"].map(|name| Query { name, ..Query::default() });
    assert!(recognise_all(&quartet).into_iter().flatten().all(|g| g.players == 1), "chamber music");
}

/// General MIDI level 1 programs 41 to 80 (from 1), by the published list, are known.
#[test]
fn general_midi_programs() {
    for (program, id) in [
        (9, "glockenspiel"),
        (11, "vibraphone"),
        (12, "marimba"),
        (13, "xylophone"),
        (14, "tubular-bells"),
        (40, "violin"),
        (41, "viola"),
        (42, "cello"),
        (43, "double-bass"),
        (46, "harp"),
        (47, "timpani"),
        (56, "trumpet"),
        (57, "trombone"),
        (58, "tuba"),
        (60, "horn"),
        (68, "oboe"),
        (69, "cor-anglais"),
        (70, "bassoon"),
        (71, "clarinet"),
        (72, "piccolo"),
        (73, "flute"),
    ] {
        let found = recognise(&Query { name: "", program: Some(program), ..Query::default() }).unwrap();
        assert_eq!(found.instrument.id, id, "program {program}");
    }
}

/// HyperPhysics (Georgia State University): the marimba's concert range begins at A2, the bass marimba's at C2; the
/// xylophone runs from 349 to 4186 Hz (F4 to C8). orchestralibrary.com: cor anglais written B3 to G6.
#[test]
fn ranges_against_published_figures() {
    let hard = |id: &str| by_id(id).and_then(|i| i.hard).map(|r| (r.low, r.high)).unwrap();
    assert_eq!(hard("xylophone"), (65, 108));
    assert_eq!(hard("marimba"), (36, 96));
    let cor_anglais = by_id("cor-anglais").unwrap();
    assert_eq!(
        (i16::from(hard("cor-anglais").0) - cor_anglais.transposition, cor_anglais.transposition),
        (59, -7)
    );
    for instrument in table() {
        assert!(!instrument.sources.is_empty(), "{}: no source", instrument.id);
        if let (Some(hard), Some(comfortable)) = (instrument.hard, instrument.comfortable) {
            assert!(hard.low <= comfortable.low && comfortable.high <= hard.high, "{}", instrument.id);
        }
    }
    assert!(table().iter().filter(|i| !i.unpitched).count() >= 50);
    assert!(table().iter().filter(|i| i.unpitched).count() >= 15);
}
