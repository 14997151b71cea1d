//! What the built-in rooms do, against the formulas of room acoustics.
#![allow(clippy::unwrap_used)]

use ripieno_hall::{Balance, Directivity, Hall, MIDDLE, OFF, Room, Source, barron, halls, measure, prepare};
use ripieno_signal::{Biquad, Position, Stereo, measure::difference};
use ripieno_units::{Decibels, Seconds, math};
use std::sync::OnceLock;

const RATE: u32 = 48_000;

/// Every room, made once for all tests.
fn rooms() -> &'static [Room] {
    static ROOMS: OnceLock<Vec<Room>> = OnceLock::new();
    ROOMS.get_or_init(|| halls().iter().map(|h| prepare(h, RATE)).collect())
}

fn room(id: &str) -> &'static Room {
    rooms().iter().find(|r| r.hall().id == id).unwrap()
}

fn seat(x: f64, y: f64) -> Source {
    Source { position: Position::seated(x, y), ..Source::default() }
}

/// The tree alone, so that levels are those of one place.
fn tree() -> Balance {
    Balance { near: OFF, wide: OFF, far: OFF, ..Balance::default() }
}

fn energy(s: &Stereo, from: f64, to: f64) -> f64 {
    let at = |t: f64| ((t.max(0.0) * f64::from(RATE)) as usize).min(s.frames());
    let range = at(from)..at(to).max(at(from));
    s.left[range.clone()].iter().chain(&s.right[range]).map(|x| f64::from(*x) * f64::from(*x)).sum()
}

/// One octave of a response.
fn octave(s: &Stereo, hertz: f64) -> Stereo {
    let run = |channel: &[f32]| -> Vec<f32> {
        let mut filters = [Biquad::band_pass(hertz, 1.414, f64::from(RATE)); 2];
        channel.iter().map(|x| filters.iter_mut().fold(*x, |x, f| f.sample(x))).collect()
    };
    Stereo { left: run(&s.left), right: run(&s.right) }
}

fn db(ratio: f64) -> f64 {
    10.0 * math::log10(ratio)
}

/// Seats all over the stage.
fn seats() -> Vec<Source> {
    let mut all = Vec::new();
    for x in [-5.0, -3.0, -1.0, 1.0, 3.0, 5.0] {
        for y in [2.5, 5.0, 7.5, 10.0] {
            all.push(seat(x, y));
        }
    }
    all
}

/// ISO 3382-1's T30 in every octave from 125 Hz to 4 kHz, in each channel, at three sample rates.
#[test]
fn every_room_lasts_as_long_as_wanted() {
    for rate in [44_100, 48_000, 96_000] {
        for hall in halls() {
            let room = prepare(hall, rate);
            let middle = Source { position: MIDDLE, ..Source::default() };
            let response = room.response(&middle, &Balance::default());
            for channel in [&response.left, &response.right] {
                let found = measure::measures(channel, rate.into());
                for (b, band) in found.iter().enumerate().take(7).skip(1) {
                    let t = band.t30.unwrap().0;
                    assert!((t / hall.wanted[b] - 1.0).abs() < 0.05, "{} {rate} {:?}", hall.id, band);
                }
            }
        }
    }
}

#[test]
fn a_hall_can_be_made_to_last_longer() {
    let hall = Hall::default().lasting(Seconds(3.0));
    let found = prepare(&hall, RATE).measures();
    let middle = (found[3].t30.unwrap().0 + found[4].t30.unwrap().0) / 2.0;
    assert!((middle - 3.0).abs() < 0.1, "{middle}");
}

/// M. Barron and L.-J. Lee, Energy relations in concert auditoriums I, 1988: the energies of a source at r, re the direct sound
/// at 10 m: (31200 T/V) e^(-0.04 r/T) e^(-1.11/T) later than 80 ms after the direct sound; what is earlier, with the direct sound.
#[test]
fn rooms_are_as_loud_as_barron_says() {
    for room in rooms() {
        let (mut late, mut early) = ((0.0, 0.0), (0.0, 0.0));
        for source in seats() {
            let place = room.place(source.position);
            let r = place.distance();
            let response = room.response(&source, &tree());
            let arrival = direct_arrival(room, &source);
            for (i, hertz) in [(3, 500.0), (4, 1000.0), (5, 2000.0)] {
                let band = octave(&response, hertz);
                let mut impulse = Stereo::silence(9600);
                impulse.left[0] = 1.0;
                let one = energy(&octave(&impulse, hertz), 0.0, 1.0);
                let wanted = barron(r, room.hall().volume(), Seconds(room.hall().wanted[i]));
                late.0 += energy(&band, arrival + 0.08, 20.0) / one;
                late.1 += wanted.late / 100.0;
                early.0 += energy(&band, 0.0, arrival + 0.08) / one;
                early.1 += (wanted.direct + wanted.early) / 100.0;
            }
        }
        let (late, early) = (db(late.0 / late.1), db(early.0 / early.1));
        eprintln!("{}: early {early:.2} dB, late {late:.2} dB", room.hall().id);
        // A dry room has nothing left after 80 ms.
        assert!(late.abs() < 1.0 || room.hall().reverberation().0 < 0.5, "{}: {late:.2} dB", room.hall().id);
        assert!(early.abs() < 2.0, "{}: {early:.2} dB", room.hall().id);
    }
}

/// The same room at other seats and other microphones.
#[test]
fn every_seat_hears_the_same_reverberation() {
    for room in rooms() {
        for (source, balance) in [
            (seat(-3.6, 2.2), tree()),
            (seat(5.0, 9.0), Balance::default()),
            (seat(0.0, 10.8), Balance { far: Decibels(0.0), ..Balance::default() }),
        ] {
            let found = measure::measures_of(&room.response(&source, &balance), RATE.into());
            for (b, band) in found.iter().enumerate().take(7).skip(1) {
                let wrong = band.t30.unwrap().0 / room.hall().wanted[b] - 1.0;
                assert!(wrong.abs() < 0.1, "{} {:?} {wrong:.3}", room.hall().id, band);
            }
        }
    }
}

/// When the direct sound reaches the tree, in the response's time.
fn direct_arrival(room: &Room, source: &Source) -> f64 {
    let conductor = Position { x: 0.0, y: 0.0, z: 1.2 };
    (room.place(source.position).distance() - conductor.distance()) / 343.2
}

/// Around the crossfade the energy falls as the reverberation does, averaged over the stage: in pieces of 15 ms, re the decay that
/// is fitted to the tail alone.
#[test]
fn there_is_neither_hole_nor_bump_where_the_tail_begins() {
    for room in rooms() {
        let (mix, t) = (room.mixing_time().0, room.hall().reverberation().0);
        let responses: Vec<Stereo> = seats().iter().map(|s| room.response(s, &tree())).collect();
        let mut decay = Vec::new();
        for (i, hertz) in [(3, 500.0), (4, 1000.0), (5, 2000.0)] {
            let t = room.hall().wanted[i];
            let bands: Vec<Stereo> = responses.iter().map(|r| octave(r, hertz)).collect();
            let share = |from: f64, to: f64| math::exp(-13.816 * from / t) - math::exp(-13.816 * to / t);
            let sum = |from: f64, to: f64| bands.iter().map(|r| energy(r, from, to)).sum::<f64>();
            let late = sum(mix + 0.02, mix + 0.12) / share(mix + 0.02, mix + 0.12);
            decay.push([-0.015, 0.0, 0.015].map(|at| {
                sum(mix + at - 0.0075, mix + at + 0.0075) / share(mix + at - 0.0075, mix + at + 0.0075) / late
            }));
        }
        for piece in 0..3 {
            let mean = decay.iter().map(|d| d[piece]).sum::<f64>() / decay.len() as f64;
            assert!(db(mean).abs() < 2.0, "{} {t} s, piece {piece}: {:.1} dB", room.hall().id, db(mean));
        }
    }
}

#[test]
fn mirrored_seats_are_mirrored_in_the_stereo() {
    for room in rooms() {
        for (x, y) in [(3.0, 2.5), (5.0, 9.0)] {
            let (left, right) = (seat(-x, y), seat(x, y));
            for part in [Room::direct, Room::reflections] {
                let (a, b) =
                    (part(room, &left, &Balance::default()), part(room, &right, &Balance::default()));
                let of = |c: &[f32]| c.iter().map(|x| f64::from(*x) * f64::from(*x)).sum::<f64>();
                let (near, far) = (db(of(&a.left) / of(&b.right)), db(of(&a.right) / of(&b.left)));
                assert!(near.abs() < 1.5 && far.abs() < 1.5, "{} {x}: {near:.2} {far:.2}", room.hall().id);
            }
            let direct = room.direct(&left, &Balance::default());
            assert!(
                energy(&Stereo { left: direct.left.clone(), right: vec![0.0; direct.left.len()] }, 0.0, 1.0)
                    > energy(&Stereo { left: vec![0.0; direct.right.len()], right: direct.right }, 0.0, 1.0)
            );
        }
        let tail = room.tail();
        let of = |c: &[f32]| c.iter().map(|x| f64::from(*x) * f64::from(*x)).sum::<f64>();
        assert!(db(of(&tail.left) / of(&tail.right)).abs() < 1.0);
        // Far apart, but not one against the other.
        let cross: f64 = tail.left.iter().zip(&tail.right).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum();
        let alike = cross / (of(&tail.left) * of(&tail.right)).sqrt();
        assert!(alike.abs() < 0.35, "{}: {alike}", room.hall().id);
    }
}

#[test]
fn sound_is_as_late_as_its_way_is_long() {
    let room = room("concert-hall");
    for (x, y, earliest, latest) in
        [(-1.2, 2.2, 0.0, 0.004), (0.0, 6.2, 0.010, 0.016), (0.2, 9.0, 0.017, 0.023)]
    {
        let direct = room.direct(&seat(x, y), &tree());
        let first =
            [&direct.left, &direct.right].into_iter().filter_map(|c| measure::onset(c)).min().unwrap();
        let first = first as f64 / f64::from(RATE);
        assert!((earliest..latest).contains(&first), "{x} {y}: {first}");
        // The reflections come after, and so does the tail.
        let reflections = room.reflections(&seat(x, y), &tree());
        assert!(energy(&reflections, 0.0, first - 0.001) < 1e-3 * energy(&reflections, 0.0, 1.0));
    }
    assert!(energy(room.tail(), 0.0, room.mixing_time().0 - 0.01) < 1e-12);
}

/// The inverse law: half the amplitude at twice the distance, and 0.23 dB less at 8 kHz for 2.2 m more of air.
#[test]
fn direct_sound_falls_with_distance() {
    let room = room("stone-church");
    let level = |y: f64| {
        let source = Source { position: Position { x: 0.0, y, z: 3.2 }, ..Source::default() };
        let direct = room.direct(&source, &tree());
        db(energy(&octave(&direct, 1000.0), 0.0, 1.0))
    };
    // From the tree's middle 8 m and 16 m, where the room seats as it is asked to.
    let apart = level(8.4) - level(14.3);
    let wanted = 20.0 * math::log10(13.9 / 8.0);
    assert!((apart - wanted).abs() < 0.6, "{apart} {wanted}");
}

#[test]
fn what_points_away_is_darker_and_reverberates_as_much() {
    let room = room("concert-hall");
    let bell = |azimuth: f64| Source {
        directivity: Directivity { radius: 0.061, azimuth, elevation: 0.0, back: Decibels(-12.0) },
        ..seat(0.0, 8.4)
    };
    let at = |azimuth: f64, hertz: f64| {
        db(energy(&octave(&room.direct(&bell(azimuth), &tree()), hertz), 0.0, 1.0))
    };
    assert!(at(0.0, 4000.0) - at(180.0, 4000.0) > 5.0);
    assert!((at(0.0, 63.0) - at(180.0, 63.0)).abs() < 2.5);
    assert_eq!(room.tail_gain(&bell(0.0), &tree()), room.tail_gain(&bell(180.0), &tree()));
}

#[test]
fn a_spot_is_silent_until_it_is_raised_and_never_early() {
    let room = room("session-stage");
    let source = seat(4.0, 8.0);
    assert_eq!(Balance::default().spot, OFF);
    let near = Balance { spot: Decibels(6.0), ..tree() };
    let (plain, spotted) = (room.direct(&source, &tree()), room.direct(&source, &near));
    let onset = |s: &Stereo| [&s.left, &s.right].into_iter().filter_map(|c| measure::onset(c)).min().unwrap();
    assert!(onset(&spotted) >= onset(&plain));
    // Less of the hall, and on the side of the player.
    assert!(room.tail_gain(&source, &near) < 0.7 * room.tail_gain(&source, &tree()));
    let side = |s: &Stereo| {
        db(energy(&Stereo { left: vec![0.0; s.frames()], right: s.right.clone() }, 0.0, 1.0)
            / energy(&Stereo { left: s.left.clone(), right: vec![0.0; s.frames()] }, 0.0, 1.0))
    };
    assert!(
        side(&spotted) > side(&plain) - 0.5 && side(&spotted) > 1.0,
        "{} {}",
        side(&spotted),
        side(&plain)
    );
}

/// Several microphones do not lift the basses: averaged over the stage, every octave of the direct sound is as loud as that at
/// 1 kHz.
#[test]
fn direct_sound_is_even_from_bass_to_treble() {
    for room in rooms() {
        for balance in [Balance::default(), tree()] {
            let level = |hertz: f64| {
                let mut impulse = Stereo::silence(9600);
                impulse.left[0] = 1.0;
                let one = energy(&octave(&impulse, hertz), 0.0, 1.0);
                let all: f64 =
                    seats().iter().map(|s| energy(&octave(&room.direct(s, &balance), hertz), 0.0, 1.0)).sum();
                db(all / one)
            };
            let middle = level(1000.0);
            for hertz in [63.0, 125.0, 250.0, 500.0, 2000.0, 4000.0] {
                let apart = level(hertz) - middle;
                assert!(apart.abs() < 1.5, "{} {hertz}: {apart:.2} dB", room.hall().id);
            }
        }
    }
}

#[test]
fn far_microphones_bring_the_hall_and_not_loudness() {
    let room = room("concert-hall");
    let far = Balance { far: Decibels(3.0), ..tree() };
    let middle = Source { position: MIDDLE, ..Source::default() };
    let direct = |b: &Balance| db(energy(&room.direct(&middle, b), 0.0, 1.0));
    assert!((direct(&far) - direct(&tree())).abs() < 1.0);
    assert!(room.tail_gain(&middle, &far) > 1.2 * room.tail_gain(&middle, &tree()));
}

#[test]
fn the_same_hall_gives_the_same_bits() {
    for id in ["dry-studio", "concert-hall"] {
        let again = prepare(room(id).hall(), RATE);
        let source = seat(-3.6, 2.2);
        assert_eq!(again.tail(), room(id).tail());
        assert_eq!(
            again.response(&source, &Balance::default()),
            room(id).response(&source, &Balance::default())
        );
    }
    assert_ne!(room("dry-studio").tail().left[5000], room("chapel").tail().left[5000]);
}

#[test]
fn several_places_add_up_their_energies() {
    let room = room("theatre");
    let balance = Balance::default();
    let whole = |s: &Stereo| energy(s, 0.0, 20.0);
    // One place: exactly its direct sound and its reflections.
    let source = seat(-3.0, 2.0);
    let together = room.early(&[(source, 0.5)], &balance);
    let mut sum = room.direct(&source, &balance).scaled(0.5);
    sum.add(&room.reflections(&source, &balance).scaled(0.5));
    assert!(difference(&together.left, &sum.left).0 < -110.0);
    assert!(difference(&together.right, &sum.right).0 < -110.0);
    // Four desks of a section with half the amplitude each are as loud as one in their midst.
    let desks: Vec<(Source, f64)> = [-4.8, -3.6, -2.4, -1.4].map(|x| (seat(x, 2.4), 0.5)).to_vec();
    let wanted: f64 = desks.iter().map(|(s, a)| a * a * whole(&room.early(&[(*s, 1.0)], &balance))).sum();
    let found = whole(&room.early(&desks, &balance));
    assert!(db(found / wanted).abs() < 0.5, "{:.2} dB", db(found / wanted));
}

/// Everything is linear: a sum of dry signals becomes the sum of what each becomes.
#[test]
fn amplitudes_scale_and_responses_do_not_depend_on_what_was_made_before() {
    let room = room("chapel");
    let (a, b) = (seat(-3.0, 2.0), seat(2.0, 9.0));
    let first = room.response(&a, &Balance::default());
    let _ = room.response(&b, &Balance::default());
    assert_eq!(first, room.response(&a, &Balance::default()));
    let louder = room.early(&[(a, 4.0)], &Balance::default());
    let plain = room.early(&[(a, 1.0)], &Balance::default()).scaled(4.0);
    assert!(difference(&louder.left, &plain.left).0 < -110.0);
    // All faders up by as much is the same.
    let up = |d: Decibels| Decibels(d.0 + 6.0);
    let usual = Balance::default();
    let raised = Balance {
        tree: up(usual.tree),
        near: up(usual.near),
        wide: up(usual.wide),
        far: up(usual.far),
        ..usual
    };
    assert!(difference(&first.left, &room.response(&a, &raised).left).0 < -100.0);
}

#[test]
fn nonsense_is_held_within_bounds() {
    let nan = f64::NAN;
    for hall in [
        Hall { width: nan, height: -1.0, upstage: 1e9, downstage: 0.0, wanted: [nan; 8], ..Hall::default() },
        Hall { wanted: [0.0; 8], scattering: 7.0, surfaces: Vec::new(), ..Hall::default() },
        Hall { width: 0.0, height: f64::INFINITY, upstage: 0.0, wanted: [0.3; 8], ..Hall::default() },
    ] {
        for rate in [0, 8000] {
            let room = prepare(&hall, rate);
            let mad = Source {
                position: Position { x: 1e9, y: -1e9, z: nan },
                directivity: Directivity { radius: 1e6, azimuth: nan, elevation: 1e9, back: Decibels(nan) },
            };
            let balance = Balance { tree: Decibels(nan), near: Decibels(1e9), ..Balance::default() };
            let response = room.response(&mad, &balance);
            assert!(response.left.iter().chain(&response.right).all(|x| x.is_finite()));
            assert!(response.frames() > 0 && response.frames() < 400_000);
            assert!(room.tail_gain(&mad, &balance).is_finite());
        }
    }
}
