//! What a controller tells of a curve: within one step at every event; between events within one step or what the curve
//! does in 20 ms; nothing told twice; at most 50 events a second.

use ripieno_formats::midi::MidiEvent;
use ripieno_music::{ChairPerformance, Curve, Gesture, Metre, Performance, Place, Timeline};
use ripieno_patches::{ChairPatches, Placement, TICKS, play};
use ripieno_plan::PatchCard;
use ripieno_units::{Beats, Chance, Seconds};

fn performance(level: Curve) -> Performance {
    let note = Gesture::plain;
    Performance {
        timeline: Timeline::regular(20, Metre { beats: 4, unit: 4 }, 120.0),
        passages: vec![("A".into(), Seconds(0.0), Place { bar: 1, beat: 1.0 })],
        chairs: vec![std::sync::Arc::new(ChairPerformance {
            level,
            ..ChairPerformance::plain("flute", vec![note(0.0, 10.0, 72), note(10.0, 20.0, 74)])
        })],
    }
}

/// Controller 1 as (seconds, value).
fn told(level: Curve) -> (Vec<(f64, u8)>, PatchCard) {
    let card = PatchCard::plain("flute");
    let set =
        ChairPatches { chair: "flute".into(), track: "flute".into(), port: None, cards: vec![card.clone()] };
    let performance = performance(level);
    let output = play(&performance, &[set], Placement::Compensated);
    let clock = performance.timeline.clock();
    let events = output.file.tracks[1]
        .events
        .iter()
        .filter_map(|(tick, event)| match event {
            MidiEvent::Controller { number: 1, value, .. } => {
                let at = clock.seconds(Beats::new(*tick as i64, i64::from(TICKS))).0 - output.lead_in.0;
                Some((at, *value))
            }
            _ => None,
        })
        .collect();
    (events, card)
}

/// The response of the plain card: 1 is -18 dB, 127 is 13.5 dB, straight between.
fn wanted(level: &Curve, t: f64) -> f64 {
    (1.0 + 126.0 * (level.at(Seconds(t)) + 18.0) / 31.5).clamp(1.0, 127.0)
}

#[test]
fn controllers_follow_their_curves() {
    let mut chance = Chance::named(3, &["curves"]);
    let mut busiest = 0;
    for case in 0..200 {
        let mut t = 0.0;
        let mut points = vec![(0.0, chance.between(-16.0, 12.0))];
        while t < 20.0 {
            t += [0.03, 0.1, 0.4, 2.0, 6.0][chance.below(5)];
            points.push((t, chance.between(-16.0, 12.0)));
        }
        let level = Curve { points };
        let (events, _) = told(level.clone());
        assert!(events.windows(2).all(|w| w[0].1 != w[1].1), "case {case}: told twice");
        assert!(events[0].0 < 0.0, "set before the first note");
        // At every event within one step. The first stands for the note that it precedes by 15 ms.
        for (i, (at, value)) in events.iter().enumerate() {
            let at = if i == 0 { at + 0.015 } else { *at };
            let off = (f64::from(*value) - wanted(&level, at)).abs();
            // A tick of the file is 0.13 ms here.
            let tick = (wanted(&level, at + 0.0001) - wanted(&level, at - 0.0001)).abs();
            assert!(off <= 1.0 + tick, "case {case}: {off:.2} steps off at {at:.3}");
        }
        // Between events: one step, or what the curve does in 20 ms around.
        let mut i = 0;
        let mut t = 0.03;
        while t < 19.9 {
            while i + 1 < events.len() && events[i + 1].0 <= t {
                i += 1;
            }
            let now = wanted(&level, t);
            let mut moved: f64 = 0.0;
            for k in -20..=0 {
                moved = moved.max((wanted(&level, t + 0.001 * f64::from(k)) - now).abs());
            }
            let off = (f64::from(events[i].1) - now).abs();
            // Looked at every millisecond: a steep curve moves a little in between.
            let allowed = moved.max(1.0) * 1.06;
            assert!(off <= allowed, "case {case}: {off:.2} at {t:.3}, moved {moved:.2}");
            t += 0.001;
        }
        for from in 0..events.len() {
            let within = events[from..].iter().take_while(|e| e.0 < events[from].0 + 1.0).count();
            busiest = busiest.max(within);
        }
    }
    println!("at most {busiest} events in any second");
    assert!(busiest <= 50);
}

#[test]
fn a_level_that_holds_is_told_once() {
    let (events, _) = told(Curve::flat(0.0));
    assert_eq!(events.len(), 1);
    assert_eq!(events[0].1, 73);
}
