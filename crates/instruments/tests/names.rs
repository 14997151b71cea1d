//! Names as scores and track lists print them. Which name means which instrument: common practice, no source, save
//! where a test says otherwise.

use ripieno_instruments::{Certainty, Guess, Query, recognise, recognise_all};

fn guess(name: &str) -> Guess {
    recognise(&Query { name, ..Query::default() }).unwrap_or_else(|| panic!("{name} is not known"))
}

/// `name | id | chair | players`, all of them certain.
static CERTAIN: &str = "
Vln 1 | violin | violins-1 | 16
Vl. I | violin | violins-1 | 16
V. I | violin | violins-1 | 16
1st Violins | violin | violins-1 | 16
Violino I | violin | violins-1 | 16
VN1 leg | violin | violins-1 | 16
Vln1Spicc | violin | violins-1 | 16
VLNS I | violin | violins-1 | 16
ViolinI | violin | violins-1 | 16
Violini I | violin | violins-1 | 16
Violino primo | violin | violins-1 | 16
Violin 1 div(2) | violin | violins-1 | 16
Violin 1 div. a 3 | violin | violins-1 | 16
Erste Violinen | violin | violins-1 | 16
1. Violine | violin | violins-1 | 16
Premiers violons | violin | violins-1 | 16
1ers Violons | violin | violins-1 | 16
First Violins (tutti) | violin | violins-1 | 16
Vni I | violin | violins-1 | 16
I. Violine | violin | violins-1 | 16
II. Violine | violin | violins-2 | 14
2nd Violins | violin | violins-2 | 14
Violino secondo | violin | violins-2 | 14
Seconds violons | violin | violins-2 | 14
2ds Violons | violin | violins-2 | 14
Violinen II | violin | violins-2 | 14
Vn. II | violin | violins-2 | 14
Strings Violin 2 | violin | violins-2 | 14
Geigen 2 | violin | violins-2 | 14
Solo Violin | violin | solo-violin | 1
Violino solo | violin | solo-violin | 1
Violin Solo 2 | violin | solo-violin-2 | 1
Vla | viola | violas | 12
Viola | viola | violas | 12
Bratschen | viola | violas | 12
Bratsche | viola | violas | 12
Vla. pizz. | viola | violas | 12
Vle | viola | violas | 12
Vc. | cello | cellos | 10
Violoncello | cello | cellos | 10
Violoncelli | cello | cellos | 10
Violoncelle | cello | cellos | 10
Vcl. | cello | cellos | 10
Vlc. | cello | cellos | 10
Celli | cello | cellos | 10
Violoncello 1 | cello | cellos-1 | 5
Vc. Solo | cello | solo-cello | 1
Cb. | double-bass | double-basses | 8
Kb. | double-bass | double-basses | 8
D.B. | double-bass | double-basses | 8
Db | double-bass | double-basses | 8
Contrabass | double-bass | double-basses | 8
Kontrabässe | double-bass | double-basses | 8
Kontrabaesse | double-bass | double-basses | 8
Contrebasses | double-bass | double-basses | 8
Contrabbassi | double-bass | double-basses | 8
Contra Bassi | double-bass | double-basses | 8
Strings Bass | double-bass | double-basses | 8
String Bass | double-bass | double-basses | 8
Double Basses | double-bass | double-basses | 8
Violone | double-bass | double-basses | 8
Streicher | strings | strings | 60
C.A. | cor-anglais | cor-anglais | 1
E.H. | cor-anglais | cor-anglais | 1
Engl. Hn | cor-anglais | cor-anglais | 1
Cor Ang | cor-anglais | cor-anglais | 1
Cor ang. | cor-anglais | cor-anglais | 1
Corno inglese | cor-anglais | cor-anglais | 1
C. ingl. | cor-anglais | cor-anglais | 1
Englischhorn | cor-anglais | cor-anglais | 1
Engl. Horn | cor-anglais | cor-anglais | 1
Eng. Hn. | cor-anglais | cor-anglais | 1
English Horn | cor-anglais | cor-anglais | 1
Cor anglais | cor-anglais | cor-anglais | 1
Cors anglais | cor-anglais | cors-anglais | 2
F Horn 3 | horn | horn-3 | 1
Horn in F 3 | horn | horn-3 | 1
Horn in F | horn | horn | 1
Horn F 2 | horn | horn-2 | 1
Cor à pistons | horn | horn | 1
Cors chromatiques en fa | horn | horns | 2
Corni in Es | horn | horns | 2
Corno I | horn | horn-1 | 1
Corni I. II. in F | horn | horns-1-2 | 2
Hr. | horn | horn | 1
Hn. 1.2 | horn | horns-1-2 | 2
Hrn 1 & 2 | horn | horns-1-2 | 2
Horns 1-4 | horn | horns-1-2-3-4 | 4
4 Hörner in F | horn | horns | 4
Hoerner | horn | horns | 2
Hörner | horn | horns | 2
Horns a 4 | horn | horns | 4
French Horns | horn | horns | 2
Corno da caccia | natural-horn | horn | 1
Naturhorn in Es | natural-horn | horn | 1
Pauken | timpani | timpani | 1
Timbales | timpani | timpani | 1
Timpani in D. A. | timpani | timpani | 1
Timp | timpani | timpani | 1
Pk. | timpani | timpani | 1
C, G Timpani | timpani | timpani | 1
Kettledrums | timpani | timpani | 1
Tromba 1 | trumpet | trumpet-1 | 1
Trombe in D | trumpet-d | trumpets | 2
Trombe (C) | trumpet-c | trumpets | 2
Tpt | trumpet | trumpet | 1
Tpts. 1.2 | trumpet | trumpets-1-2 | 2
Trp | trumpet | trumpet | 1
Bb Tpt 3 | trumpet | trumpet-3 | 1
C Tpt 2 | trumpet-c | trumpet-2 | 1
Trumpet in C 1 | trumpet-c | trumpet-1 | 1
Trompete in F | trumpet-f | trumpet | 1
Trompete in Es | trumpet-eb | trumpet | 1
Trompeten in B | trumpet | trumpets | 2
Trompettes en ut | trumpet-c | trumpets | 2
Clarino I | natural-trumpet | trumpet-1 | 1
Clarini | natural-trumpet | trumpets | 2
Piccolo Trumpet | piccolo-trumpet | piccolo-trumpet | 1
Cornets à pistons | cornet | cornets | 2
Cornet à pistons en si♭ | cornet | cornet | 1
Flugelhorn | flugelhorn | flugelhorn | 1
Flügelhorn | flugelhorn | flugelhorn | 1
Trb. | trombone | trombone | 1
Tbn | trombone | trombone | 1
Pos. | trombone | trombone | 1
Posaune 2 | trombone | trombone-2 | 1
3 Posaunen | trombone | trombones | 3
Tromboni 1.2 | trombone | trombones-1-2 | 2
A. Tbn. | alto-trombone | alto-trombone | 1
Altposaune | alto-trombone | alto-trombone | 1
Trombone alto | alto-trombone | alto-trombone | 1
Tenor Trombone | trombone | trombone | 1
B. Tbn. | bass-trombone | bass-trombone | 1
Bass Trb. | bass-trombone | bass-trombone | 1
Trombone basso | bass-trombone | bass-trombone | 1
Bassposaune | bass-trombone | bass-trombone | 1
Cimbasso | contrabass-trombone | contrabass-trombone | 1
Tba | tuba | tuba | 1
Basstuba | tuba | tuba | 1
Tuba Bass | tuba | tuba | 1
Wagner Tuba 3 | wagner-tuba | wagner-tuba-3 | 1
Euph. | euphonium | euphonium | 1
Ophicléide | ophicleide | ophicleide | 1
Brass | brass-section | brass | 1
Traverso | flute | flute | 1
Flauto traverso I | flute | flute-1 | 1
Traversflöte | flute | flute | 1
Flauti I. II. | flute | flutes-1-2 | 2
Fl. 1/2 | flute | flutes-1-2 | 2
Flutes 1.2 | flute | flutes-1-2 | 2
2 Flöten | flute | flutes | 2
2. Flöte | flute | flute-2 | 1
Grandes flûtes | flute | flutes | 2
Gr. Fl. 1 | flute | flute-1 | 1
Flauti | flute | flutes | 2
Fl. a 2 | flute | flute | 2
Floete | flute | flute | 1
FLUTE_2 stacc | flute | flute-2 | 1
Ottavino | piccolo | piccolo | 1
Petite flûte | piccolo | piccolo | 1
Kleine Flöte | piccolo | piccolo | 1
Flauto piccolo | piccolo | piccolo | 1
Picc. | piccolo | piccolo | 1
Alto Flute | alto-flute | alto-flute | 1
Flute in G | alto-flute | alto-flute | 1
Flûte en sol | alto-flute | alto-flute | 1
Fl. alto | alto-flute | alto-flute | 1
Bassflöte | bass-flute | bass-flute | 1
Ob. 2 | oboe | oboe-2 | 1
Oboi | oboe | oboes | 2
Hautbois | oboe | oboe | 1
Htb. 1 | oboe | oboe-1 | 1
Oboe d'amore | oboe-d-amore | oboe-d-amore | 1
Oboi d’amore I. II. | oboe-d-amore | oboes-d-amore-1-2 | 2
Oboe da caccia | cor-anglais | cor-anglais | 1
Heckelphone | bass-oboe | bass-oboe | 1
Cl. | clarinet | clarinet | 1
Bb Clarinet | clarinet | clarinet | 1
B♭ Clarinet 2 | clarinet | clarinet-2 | 1
B flat Clarinet 1 | clarinet | clarinet-1 | 1
B-flat Clarinet | clarinet | clarinet | 1
Clarinet Bb 1 | clarinet | clarinet-1 | 1
Clarinet in A | clarinet-a | clarinet | 1
A Clarinet | clarinet-a | clarinet | 1
A Cl. 2 | clarinet-a | clarinet-2 | 1
Clarinetti in La | clarinet-a | clarinets | 2
Clarinette en la | clarinet-a | clarinet | 1
Clarinettes en si♭ | clarinet | clarinets | 2
Clarinette en si bémol | clarinet | clarinet | 1
Klarinette in B | clarinet | clarinet | 1
Klarinetten in A | clarinet-a | clarinets | 2
Klarinette in Es | clarinet-eb | clarinet-eb | 1
E♭ Clarinet | clarinet-eb | clarinet-eb | 1
Eb Cl. | clarinet-eb | clarinet-eb | 1
Petite clarinette | clarinet-eb | clarinet-eb | 1
Clarinet in C | clarinet-c | clarinet | 1
Clarinetto in D | clarinet-d | clarinet-d | 1
Bass Clarinet in B♭ | bass-clarinet | bass-clarinet | 1
A Bass Clarinet | bass-clarinet | bass-clarinet | 1
Cl. basso | bass-clarinet | bass-clarinet | 1
Clarinette basse | bass-clarinet | bass-clarinet | 1
Bassklarinette | bass-clarinet | bass-clarinet | 1
Baßklarinette | bass-clarinet | bass-clarinet | 1
Bass Cl. | bass-clarinet | bass-clarinet | 1
Bcl | bass-clarinet | bass-clarinet | 1
Corno di bassetto | basset-horn | basset-horn | 1
Bassetthorn | basset-horn | basset-horn | 1
Fg. | bassoon | bassoon | 1
Fagotti | bassoon | bassoons | 2
Bsn. 1 | bassoon | bassoon-1 | 1
Bassons | bassoon | bassoons | 2
Kfg. | contrabassoon | contrabassoon | 1
Cbn | contrabassoon | contrabassoon | 1
C.Fag. | contrabassoon | contrabassoon | 1
Kontrafagott | contrabassoon | contrabassoon | 1
Contr. Fag. | contrabassoon | contrabassoon | 1
C. Bsn. | contrabassoon | contrabassoon | 1
Double Bassoon | contrabassoon | contrabassoon | 1
Tenor Sax | tenor-saxophone | tenor-saxophone | 1
Alto Saxophone | alto-saxophone | alto-saxophone | 1
Soprano Recorder | recorder-soprano | recorder | 1
Altblockflöte | recorder-alto | recorder-alto | 1
Low Whistle in D | low-whistle | low-whistle | 1
Tin Whistle | tin-whistle | tin-whistle | 1
Uilleann Pipes | pipes-chanter | pipes | 1
Glsp. | glockenspiel | glockenspiel | 1
Campanelli | glockenspiel | glockenspiel | 1
Jeu de timbres | glockenspiel | glockenspiel | 1
Célesta | celesta | celesta | 1
Xyl. | xylophone | xylophone | 1
Vibes | vibraphone | vibraphone | 1
Marimba | marimba | marimba | 1
Tubular Bells | tubular-bells | tubular-bells | 1
Röhrenglocken | tubular-bells | tubular-bells | 1
Campane | tubular-bells | tubular-bells | 1
Crotales | crotales | crotales | 1
Hammered Dulcimer | hammered-dulcimer | hammered-dulcimer | 1
Harp 1 | harp | harp-1 | 1
Arpa | harp | harp | 1
Harfe | harp | harp | 1
2 Harpes | harp | harps | 2
Hp. | harp | harp | 1
Pno | piano | piano | 1
Klavier | piano | piano | 1
Pianoforte | piano | piano | 1
Cembalo | harpsichord | harpsichord | 1
Orgel | organ | organ | 1
Guitar | guitar | guitar | 1
Gran Cassa | bass-drum | bass-drum | 1
B. D. | bass-drum | bass-drum | 1
Gr. Tr. | bass-drum | bass-drum | 1
Große Trommel | bass-drum | bass-drum | 1
Grosse caisse | bass-drum | bass-drum | 1
Snare Drum | snare-drum | snare-drum | 1
Kl. Tr. | snare-drum | snare-drum | 1
Caisse claire | snare-drum | snare-drum | 1
S.D. | snare-drum | snare-drum | 1
Susp. Cym. | suspended-cymbal | suspended-cymbal | 1
Sus Cymbal roll | suspended-cymbal | suspended-cymbal | 1
Piatto sospeso | suspended-cymbal | suspended-cymbal | 1
Becken | crash-cymbals | crash-cymbals | 1
Piatti | crash-cymbals | crash-cymbals | 1
Cymbals | crash-cymbals | crash-cymbals | 1
Tam-tam | tam-tam | tam-tam | 1
T.-t. | tam-tam | tam-tam | 1
Triangolo | triangle | triangle | 1
Trgl. | triangle | triangle | 1
Mark Tree | mark-tree | mark-tree | 1
Tambour de basque | tambourine | tambourine | 1
Castagnette | castanets | castanets | 1
Wood Block | wood-block | wood-block | 1
Temple Blocks | temple-blocks | temple-blocks | 1
Peitsche | whip | whip | 1
Sleigh Bells | sleigh-bells | sleigh-bells | 1
Tom-toms | tom-toms | tom-toms | 1
Windmaschine | wind-machine | wind-machine | 1
Drum Kit | drum-kit | drum-kit | 1
Perc. 2 | percussion | percussion-2 | 1
Schlagzeug | percussion | percussion | 1
Choir Sopranos | choir-sopranos | choir-sopranos | 8
Choir Bass | choir-basses | choir-basses | 8
Chor Alt | choir-altos | choir-altos | 8
Soprano solo | solo-soprano | solo-soprano | 1
Alt solo | solo-alto | solo-alto | 1
Solo Tenor | solo-tenor | solo-tenor | 1
Solo-Bass | solo-bass | solo-bass-voice | 1
Mezzo-soprano | solo-mezzo-soprano | solo-mezzo-soprano | 1
Boys' Choir | boys-choir | boys-choir | 20
Knabenchor | boys-choir | boys-choir | 20
Frauenchor | choir-women | choir-women | 16
Men | choir-men | choir-men | 16
SATB | mixed-choir | choir | 32
Chœur | mixed-choir | choir | 32
Gesang | voice | voice | 1
Chant | voice | voice | 1
Fiddle | solo-fiddle | solo-fiddle | 1
Viola da gamba | viola-da-gamba | viola-da-gamba | 1
Viola d'amore | viola-d-amore | viola-d-amore | 1
Chalumeau | chalumeau | chalumeau | 1
12 - Horns 1-4 Sustain | horn | horns-1-2-3-4 | 4
01 Flute 1 | flute | flute-1 | 1
VlnsI_Sus | violin | violins-1 | 16
1.Hr. (F) | horn | horn-1 | 1
Cors I.II (Fa) | horn | horns-1-2 | 2
2 Cors en Fa | horn | horns | 2
4 Bassons | bassoon | bassoons | 4
kl. Flöte | piccolo | piccolo | 1
gr. Flöte | flute | flute | 1
Viol. I | violin | violins-1 | 16
2. Viol. | violin | violins-2 | 14
K.-B. | double-bass | double-basses | 8
V.ni I | violin | violins-1 | 16
V.celli | cello | cellos | 10
Gli altri Violini I | violin | violins-1 | 16
Horn Section | horn | horns | 2
Coro: Bassi | choir-basses | choir-basses | 8
Klar. (B) 1 | clarinet | clarinet-1 | 1
";

#[test]
fn certain_names() {
    let mut wrong = Vec::new();
    for line in CERTAIN.lines().filter(|l| !l.is_empty()) {
        let c: Vec<&str> = line.split(" | ").collect();
        match recognise(&Query { name: c[0], ..Query::default() }) {
            None => wrong.push(format!("{}: None", c[0])),
            Some(g) => {
                let players = g.players.to_string();
                let got = [g.instrument.id.as_str(), g.chair.as_str(), players.as_str()];
                if got != c[1..] || g.certainty != Certainty::Sure {
                    wrong.push(format!("{}: {got:?} {:?} instead of {:?}", c[0], g.certainty, &c[1..]));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// `name | what it is taken for`: never certain.
static DOUBTFUL: &str = "
Bassi | choir-basses
Basse | choir-basses
Basso | choir-basses
Bass | choir-basses
B. | choir-basses
S. | choir-sopranos
A. | choir-altos
T. | choir-tenors
Soprano | choir-sopranos
Tenor | choir-tenors
Alto | choir-altos
Contralto | choir-altos
Violin | violin
Violini | violin
Basso continuo | harpsichord
Continuo | harpsichord
Tr. | trumpet
Tb. | tuba
Tamb. | tambourine
Cymbal | crash-cymbals
Bells | tubular-bells
Chimes | tubular-bells
Cel. | celesta
Recorder | recorder-soprano
Saxophone | alto-saxophone
Whistle | tin-whistle
E Horn | cor-anglais
B. Cl. | bass-clarinet
Tuben | wagner-tuba
Violes | viola
Baritone | solo-baritone
Flute 3 / Piccolo | flute
Flöte 3 (auch Piccolo) | flute
Oboe III / Corno inglese | oboe
Violoncello e Basso | cello
Vc. & Cb. | cello
Violoncelli e Contrabbassi | cello
Flute pad dreamy | flute
Trumpet and Trombones | trumpet
Soprano Oboe 1 Violin1 | oboe
Batterie | percussion
Cornetto | cornet
Serpent | ophicleide
Viol. | violin
T Vla | viola
Violone e Organo | double-bass
Bass Continuo | harpsichord
Cor A. | cor-anglais
Taille | choir-tenors
Offstage Trumpet | trumpet
Electric Bass (finger) | bass-guitar
Cantus | choir-sopranos
Bassus | choir-basses
";

#[test]
fn doubtful_names_say_why() {
    let mut wrong = Vec::new();
    for line in DOUBTFUL.lines().filter(|l| !l.is_empty()) {
        let (name, id) = line.split_once(" | ").unwrap();
        let g = guess(name);
        let reason = match &g.certainty {
            Certainty::Sure => String::new(),
            Certainty::Unsure(why) => why.clone(),
        };
        if g.instrument.id != id || reason.len() < 10 {
            wrong.push(format!("{name}: {} {reason:?}", g.instrument.id));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn one_staff_for_several_chairs() {
    let g = guess("Soprano Oboe 1 Violin1");
    assert_eq!((g.instrument.id.as_str(), g.chair.as_str(), g.players), ("oboe", "oboe-1", 1));
    assert!(matches!(&g.certainty, Certainty::Unsure(why) if why.contains("several instruments")));
    let g = guess("Flute 3 / Piccolo");
    assert_eq!(g.chair, "flute-3");
}

#[test]
fn the_sound_decides_between_meanings() {
    let with = |name, sound, transposition| {
        recognise(&Query { name, sound: Some(sound), transposition, ..Query::default() }).unwrap()
    };
    for (name, sound, transposition, id, certain) in [
        ("Bass", "strings.contrabass", None, "double-bass", true),
        ("Bass", "Electric Bass pluck.bass.electric", None, "bass-guitar", true),
        ("Bass", "voice.bass", None, "choir-basses", false),
        ("E Horn 1", "brass.natural-horn", Some(-8), "natural-horn", true),
        ("E Horn", "wind.reed.english-horn", Some(-7), "cor-anglais", true),
        ("B Cl", "wind.reed.clarinet.bflat", Some(-2), "clarinet", true),
        ("B Cl", "wind.reed.clarinet.bass", Some(-14), "bass-clarinet", true),
        ("Tr.", "brass.trumpet", Some(-2), "trumpet", true),
        ("Tr.", "metal.triangle", None, "triangle", true),
        ("Cymbal", "Suspended Cymbal", None, "suspended-cymbal", true),
        ("Alto", "strings.viola", None, "viola", true),
        ("Cel.", "strings.cello", None, "cello", true),
        ("Recorder", "wind.flutes.recorder.alto", None, "recorder-alto", true),
        ("Horn", "wind.reed.english-horn", Some(-7), "horn", false),
    ] {
        let g = with(name, sound, transposition);
        assert_eq!(g.instrument.id, id, "{name} {sound}");
        assert_eq!(g.certainty == Certainty::Sure, certain, "{name} {sound}: {:?}", g.certainty);
    }
}

#[test]
fn the_transposition_chooses_the_variant() {
    let with = |name, semitones| {
        recognise(&Query { name, transposition: Some(semitones), ..Query::default() }).unwrap()
    };
    for (name, semitones, id, key) in [
        ("Clarinet", -2, "clarinet", Some(10)),
        ("Clarinet", -3, "clarinet-a", Some(9)),
        ("Clarinetto I", 3, "clarinet-eb", Some(3)),
        ("Trumpet", 3, "trumpet-eb", Some(3)),
        ("Trompete", 5, "trumpet-f", Some(5)),
        ("Tromba", -2, "trumpet", Some(10)),
        ("Horn", -7, "horn", Some(5)),
        ("Horn", -9, "horn", Some(3)),
        ("Hn in B", -1, "horn", Some(11)),
        ("Hn in B", -14, "horn", Some(10)),
        ("Corno in Si b basso", -14, "horn", Some(10)),
        ("Bass Clarinet", -14, "bass-clarinet", None),
        ("Flute", 0, "flute", None),
        ("Double Bass", -12, "double-bass", None),
    ] {
        let g = with(name, semitones);
        assert_eq!(
            (g.instrument.id.as_str(), g.certainty == Certainty::Sure),
            (id, true),
            "{name} {semitones}"
        );
        if key.is_some() {
            assert_eq!(g.key, key, "{name} {semitones}");
        }
    }
}

#[test]
fn keys_of_names() {
    for (name, key) in [
        ("Corni in Es", 3),
        ("Horn in As", 8),
        ("Hörner in H", 11),
        ("Corni in B basso", 10),
        ("Clarinette en la", 9),
        ("Cor en mi bémol", 3),
        ("Trompettes en ré", 2),
        ("Trompete in Fis", 6),
        ("Tromba in Si bemolle", 10),
        ("Horn in E flat", 3),
        ("Horn (D)", 2),
        ("Clarinet in C sharp", 1),
        ("Bb (alto) Horn 1", 10),
        ("Corni I/II (F)", 5),
    ] {
        assert_eq!(guess(name).key, Some(key), "{name}");
    }
    assert_eq!(guess("Violin 1").key, None);
}

#[test]
fn articulations_in_track_names() {
    for (name, articulations) in [
        ("VN1 leg", vec!["legato"]),
        ("Vln 2 Spicc", vec!["spiccato"]),
        ("Violas pizz", vec!["pizzicato"]),
        ("Celli trem con sord", vec!["tremolo", "con-sord"]),
        ("Horns 1-4 stacc", vec!["staccato"]),
        ("Trumpets muted", vec!["con-sord"]),
        ("Vla sul pont. trem.", vec!["sul-pont", "tremolo"]),
        ("Basses col legno pizz double bass", vec!["col-legno", "pizzicato"]),
        ("Horn stopped", vec!["stopped"]),
        ("Flute 1 flz", vec!["flutter"]),
        ("Violins 1 half trill", vec!["trill-1"]),
        ("Timpani", vec![]),
    ] {
        assert_eq!(guess(name).articulations, articulations, "{name}");
    }
}

#[test]
fn numbers_of_names() {
    for (name, numbers) in [
        ("Flauti I. II.", vec![1, 2]),
        ("Horns 1-4", vec![1, 2, 3, 4]),
        ("Hn. 1, 3", vec![1, 3]),
        ("Corno III", vec![3]),
        ("Horn IV in F", vec![4]),
        ("3. Posaune", vec![3]),
        ("Zweite Flöte", vec![2]),
        ("Second Oboe", vec![2]),
        ("2nd Trumpet", vec![2]),
        ("Violin 1 desk 3", vec![1]),
        ("Violin 2 div 2", vec![2]),
        ("Fl. a 2", vec![]),
        ("Flute 2020", vec![]),
    ] {
        assert_eq!(guess(name).numbers, numbers, "{name}");
    }
}

#[test]
fn unknown_names_fall_to_the_program_and_then_to_nothing() {
    let g = recognise(&Query { name: "Track 7", program: Some(60), ..Query::default() }).unwrap();
    assert_eq!(g.instrument.id, "horn");
    assert!(matches!(&g.certainty, Certainty::Unsure(why) if why.contains("program 61")));
    let g = recognise(&Query { name: "", sound: Some("wind.flutes.flute"), ..Query::default() }).unwrap();
    assert_eq!(g.instrument.id, "flute");
    assert!(matches!(g.certainty, Certainty::Unsure(_)));
    let g = recognise(&Query { name: "zzz", percussion: true, ..Query::default() }).unwrap();
    assert_eq!(g.instrument.id, "percussion");
    for name in
        ["", " ", "zzz", "1", "...", "♭", "(((", "x 99999999999999999999 y", "in", "in F", "\u{0}\u{301}"]
    {
        assert!(recognise(&Query { name, ..Query::default() }).is_none(), "{name:?}");
    }
}

/// General MIDI Level 1 sound set, programs 41 to 80 (from 1): strings, ensemble, brass, reed, pipe.
#[test]
fn every_orchestral_program_resolves_to_its_instrument() {
    let named = [
        (40, "violin"),
        (41, "viola"),
        (42, "cello"),
        (43, "double-bass"),
        (44, "strings"),
        (45, "strings"),
        (46, "harp"),
        (47, "timpani"),
        (48, "strings"),
        (49, "strings"),
        (52, "mixed-choir"),
        (56, "trumpet"),
        (57, "trombone"),
        (58, "tuba"),
        (59, "trumpet"),
        (60, "horn"),
        (61, "brass-section"),
        (64, "soprano-saxophone"),
        (65, "alto-saxophone"),
        (66, "tenor-saxophone"),
        (67, "baritone-saxophone"),
        (68, "oboe"),
        (69, "cor-anglais"),
        (70, "bassoon"),
        (71, "clarinet"),
        (72, "piccolo"),
        (73, "flute"),
        (74, "recorder-soprano"),
        (78, "tin-whistle"),
    ];
    for program in 40..=79 {
        let g = recognise(&Query { name: "Untitled", program: Some(program), ..Query::default() });
        let g = g.unwrap_or_else(|| panic!("program {program}"));
        assert!(matches!(g.certainty, Certainty::Unsure(_)));
        if let Some((_, id)) = named.iter().find(|n| n.0 == program) {
            assert_eq!(&g.instrument.id, id, "program {program}");
        }
    }
}

fn score(names: &[&str]) -> Vec<Guess> {
    let queries: Vec<Query<'_>> = names.iter().map(|n| Query { name: n, ..Query::default() }).collect();
    recognise_all(&queries).into_iter().flatten().collect()
}

fn ids(guesses: &[Guess]) -> Vec<&str> {
    guesses.iter().map(|g| g.instrument.id.as_str()).collect()
}

#[test]
fn a_choir_makes_its_letters_certain() {
    let g = score(&["S.", "A.", "T.", "B.", "Org."]);
    assert_eq!(ids(&g), ["choir-sopranos", "choir-altos", "choir-tenors", "choir-basses", "organ"]);
    assert!(g.iter().all(|g| g.certainty == Certainty::Sure), "{g:?}");
}

#[test]
fn a_bass_below_the_cellos_is_a_double_bass() {
    let names =
        ["Soprano", "Alto", "Tenore", "Basso", "Violino I", "Violino II", "Viola", "Violoncello", "Basso"];
    let g = score(&names);
    assert_eq!(g[3].instrument.id, "choir-basses");
    assert_eq!(g[8].instrument.id, "double-bass");
    assert_eq!((&g[3].certainty, &g[8].certainty), (&Certainty::Sure, &Certainty::Sure));
    let g = score(&["Violons I", "Violons II", "Altos", "Violoncelles", "Contrebasses"]);
    assert_eq!(ids(&g), ["violin", "violin", "viola", "cello", "double-bass"]);
}

#[test]
fn a_quartet_is_four_players() {
    let g = score(&["Violin 1", "Violin 2", "Viola", "Violoncello"]);
    let chairs: Vec<&str> = g.iter().map(|g| g.chair.as_str()).collect();
    assert_eq!(chairs, ["violin-1", "violin-2", "viola", "cello"]);
    assert!(g.iter().all(|g| g.players == 1 && g.certainty == Certainty::Sure));
    let g = score(&["Violin", "Piano"]);
    assert_eq!((g[0].chair.as_str(), g[0].players, &g[0].certainty), ("violin", 1, &Certainty::Sure));
    let g = score(&["Flute", "Violin", "Violin", "Viola", "Cello", "Double Bass"]);
    assert_eq!((g[1].chair.as_str(), g[2].chair.as_str(), g[2].players), ("violins-1", "violins-2", 14));
    assert!(matches!(g[1].certainty, Certainty::Unsure(_)));
}

/// A large late-romantic score's own list, from general knowledge of such scores.
#[test]
fn a_german_title_page() {
    let names = [
        "Kleine Flöte",
        "1. 2. Flöte",
        "3. Flöte",
        "1. 2. Oboe",
        "Englischhorn",
        "Es-Klarinette",
        "1. 2. Klarinette in B",
        "Bassklarinette in B",
        "1. 2. Fagott",
        "Kontrafagott",
        "1. 3. Horn in F",
        "2. 4. Horn in F",
        "1. Trompete in F",
        "1. 2. Posaune",
        "3. Posaune",
        "Basstuba",
        "Pauken",
        "Triangel",
        "Becken",
        "Große Trommel",
        "Glockenspiel",
        "1. Harfe",
        "2. Harfe",
        "Celesta",
        "Orgel",
        "1. Violinen",
        "2. Violinen",
        "Bratschen",
        "Violoncelli",
        "Kontrabässe",
    ];
    let wanted = [
        "piccolo",
        "flute",
        "flute",
        "oboe",
        "cor-anglais",
        "clarinet-eb",
        "clarinet",
        "bass-clarinet",
        "bassoon",
        "contrabassoon",
        "horn",
        "horn",
        "trumpet-f",
        "trombone",
        "trombone",
        "tuba",
        "timpani",
        "triangle",
        "crash-cymbals",
        "bass-drum",
        "glockenspiel",
        "harp",
        "harp",
        "celesta",
        "organ",
        "violin",
        "violin",
        "viola",
        "cello",
        "double-bass",
    ];
    let g = score(&names);
    assert_eq!(ids(&g), wanted);
    let doubts: Vec<_> = g.iter().filter(|g| g.certainty != Certainty::Sure).collect();
    assert!(doubts.is_empty(), "{doubts:#?}");
    assert_eq!((g[1].numbers.as_slice(), g[1].players), ([1, 2].as_slice(), 2));
    assert_eq!(g[11].numbers, [2, 4]);
}

#[test]
fn no_name_is_too_odd() {
    let alphabet: Vec<char> =
        "abceilnorstvABCFHIV 0123456789.,-–/()[]&+'’♭♯#ßüöéœ\u{301}\u{0}\u{1F3BB}".chars().collect();
    let words = [
        "Vln", "in", "a", "2", "1-4", "Horn", "(", "B", "flat", "div", "II", "solo", "Bass", "Cl", ")", "th",
    ];
    let mut chance = ripieno_units::Chance::named(7, &["odd names"]);
    let mut known = 0;
    for _ in 0..20_000 {
        let mut name = String::new();
        for _ in 0..chance.below(12) {
            if chance.below(2) == 0 {
                name.push_str(words[chance.below(words.len())]);
                name.push(' ');
            } else {
                name.push(alphabet[chance.below(alphabet.len())]);
            }
        }
        let transposition = Some(chance.below(65536) as i32 as i16).filter(|t| *t != 0);
        let query = Query {
            name: &name,
            abbreviation: Some(&name),
            sound: Some(&name),
            transposition,
            ..Query::default()
        };
        for g in recognise_all(&[query, query]).into_iter().flatten() {
            known += 1;
            assert!(g.players > 0 && !g.chair.is_empty(), "{name:?}");
            assert!(
                g.chair.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-'),
                "{name:?}"
            );
            assert!(g.key.is_none_or(|k| (0..12).contains(&k)), "{name:?}");
        }
    }
    assert!(known > 10_000, "{known}");
    let long = "Horn a 2 (b) ".repeat(100_000);
    assert_eq!(guess(&long).instrument.id, "horn");
}

#[test]
fn spelling_does_not_matter() {
    for (a, b) in [
        ("CORNO INGLESE", "corno inglese"),
        ("Kontrabaß", "kontrabass"),
        ("Flûte", "Flute"),
        ("Bass  Clarinet", "bass_clarinet"),
        ("B.Cl.", "B. Cl."),
    ] {
        assert_eq!(guess(a).instrument.id, guess(b).instrument.id, "{a} {b}");
    }
}

/// What a row of parts with words is taken for: name, abbreviation, lowest and highest key.
fn sung(parts: &[(&str, Option<&str>, (i16, i16))]) -> Vec<String> {
    let queries: Vec<Query<'_>> = parts
        .iter()
        .map(|(name, abbreviation, compass)| Query {
            name,
            abbreviation: *abbreviation,
            program: Some(40),
            sung: true,
            compass: Some(*compass),
            ..Query::default()
        })
        .collect();
    recognise_all(&queries)
        .into_iter()
        .map(|g| g.map_or(String::new(), |g| g.instrument.id.clone()))
        .collect()
}

#[test]
fn voices_named_by_their_place_are_told_by_compass() {
    let madrigal = [
        ("Canto", None, (60, 79)),
        ("Quinto", None, (60, 77)),
        ("Alto", None, (53, 72)),
        ("Tenore", None, (50, 67)),
        ("Basso", None, (41, 62)),
    ];
    let choir = ["choir-sopranos", "choir-sopranos", "choir-altos", "choir-tenors", "choir-basses"];
    assert_eq!(sung(&madrigal), choir);
    assert_eq!(sung(&[madrigal[0], ("Quinto", None, (50, 67)), madrigal[2], madrigal[4]])[1], "choir-tenors");
    // The word is known, so its abbreviation is not a trumpet's.
    assert_eq!(sung(&[("Triplum", Some("Tr."), (60, 76))]), ["choir-sopranos"]);
    // Nothing but words and a compass.
    assert_eq!(
        sung(&[("", None, (41, 60)), ("P2", None, (60, 79)), ("P3", None, (48, 67))]),
        ["choir-basses", "choir-sopranos", "choir-tenors"]
    );
    assert_eq!(sung(&[("", None, (62, 79))]), ["voice"]);
    assert_eq!(sung(&[("", None, (43, 62))]), ["solo-bass"]);
    assert_eq!(sung(&[("Canto", None, (60, 77))]), ["voice"]);
    // A name that is an instrument's stays one.
    assert_eq!(sung(&[("Violone e Organo", None, (40, 60)), ("Flauto", None, (62, 80))])[1], "flute");
}
