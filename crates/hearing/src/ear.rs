//! The ear as tables: what reaches the inner ear, what it needs to be heard in quiet, and how growth of loudness changes where
//! the ear amplifies less.
//!
//! All values of this file are those of ISO 532-2:2017 (the same as ANSI S3.4-2007), written down from memory; the tests of this
//! crate replay the published loudness values with them.

use ripieno_units::math::{ln, log10, polyline, pow};

/// Frequency in hertz; from a frontal free field to the eardrum, from a diffuse field to the eardrum, and through the middle
/// ear, in dB.
const TRANSFER: [(f64, f64, f64, f64); 40] = [
    (20.0, 0.0, 0.0, -39.6),
    (25.0, 0.0, 0.0, -32.0),
    (31.5, 0.0, 0.0, -25.85),
    (40.0, 0.0, 0.0, -21.4),
    (50.0, 0.0, 0.0, -18.5),
    (63.0, 0.0, 0.0, -15.9),
    (80.0, 0.0, 0.0, -14.1),
    (100.0, 0.0, 0.0, -12.4),
    (125.0, 0.1, 0.1, -11.0),
    (160.0, 0.3, 0.3, -9.6),
    (200.0, 0.5, 0.4, -8.3),
    (250.0, 0.9, 0.5, -7.4),
    (315.0, 1.4, 1.0, -6.2),
    (400.0, 1.6, 1.6, -4.8),
    (500.0, 1.7, 1.7, -3.8),
    (630.0, 2.5, 2.2, -3.3),
    (750.0, 2.7, 2.7, -2.9),
    (800.0, 2.6, 2.9, -2.6),
    (1000.0, 2.6, 3.8, -2.6),
    (1250.0, 3.2, 5.3, -4.5),
    (1500.0, 5.2, 6.8, -5.4),
    (1600.0, 6.6, 7.2, -6.1),
    (2000.0, 12.0, 10.2, -8.5),
    (2500.0, 16.8, 14.9, -10.4),
    (3000.0, 15.3, 14.5, -7.3),
    (3150.0, 15.2, 14.4, -7.0),
    (4000.0, 14.2, 12.7, -6.6),
    (5000.0, 10.7, 10.8, -7.0),
    (6000.0, 7.1, 8.9, -9.2),
    (6300.0, 6.4, 8.7, -10.2),
    (8000.0, 1.8, 8.5, -12.2),
    (9000.0, -0.9, 6.2, -10.8),
    (10000.0, -1.6, 5.0, -10.1),
    (11200.0, 1.9, 4.5, -12.7),
    (12500.0, 4.9, 4.0, -15.0),
    (14000.0, 2.0, 3.3, -18.2),
    (15000.0, -2.0, 2.6, -23.8),
    (16000.0, 2.5, 2.0, -32.3),
    (18000.0, 2.5, 2.0, -45.5),
    (20000.0, 2.5, 2.0, -50.0),
];

/// Frequency in hertz and the excitation, in dB, of a tone at the threshold of hearing with one ear.
const THRESHOLD: [(f64, f64); 11] = [
    (50.0, 28.18),
    (63.0, 23.90),
    (80.0, 19.20),
    (100.0, 15.68),
    (125.0, 12.67),
    (160.0, 10.09),
    (200.0, 8.08),
    (250.0, 6.30),
    (315.0, 5.30),
    (400.0, 4.50),
    (500.0, 3.63),
];

/// Gain of the inner ear relative to 500 Hz and above, in dB, and the exponent of loudness there.
const EXPONENT: [(f64, f64); 6] =
    [(-25.0, 0.26692), (-20.0, 0.25016), (-15.0, 0.23679), (-10.0, 0.22228), (-5.0, 0.21055), (0.0, 0.2)];

/// Frequency in hertz and signal to noise ratio, in dB, at the output of the filter at masked threshold: read from a figure of
/// Moore, Glasberg and Baer 1997, from memory; its ends (13 dB at 50 Hz, -3 dB from 500 Hz up) are cited widely.
const EFFICIENCY: [(f64, f64); 10] = [
    (50.0, 13.0),
    (63.0, 10.0),
    (80.0, 7.5),
    (100.0, 5.5),
    (125.0, 3.7),
    (160.0, 2.0),
    (200.0, 0.8),
    (250.0, -0.4),
    (315.0, -1.6),
    (500.0, -3.0),
];

/// How sound reaches the head.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Field {
    /// From the front, as in a room without echo: what the standard's values are given for.
    #[default]
    Free,
    /// From all sides alike, as far from the stage of a reverberant hall.
    Diffuse,
}

/// Level at the inner ear relative to the level where the head will be, in dB, at `hertz` (held flat beyond 20 Hz and 20 kHz);
/// 0 dB at 1 kHz from the front.
pub fn transfer(field: Field, hertz: f64) -> f64 {
    let outer = |row: &(f64, f64, f64, f64)| match field {
        Field::Free => row.1 + row.3,
        Field::Diffuse => row.2 + row.3,
    };
    let i = TRANSFER.partition_point(|row| row.0 <= hertz);
    let (Some(low), Some(high)) = (TRANSFER.get(i.saturating_sub(1)), TRANSFER.get(i)) else {
        return outer(&TRANSFER[39]);
    };
    if i == 0 {
        return outer(low);
    }
    let x = ln(hertz / low.0) / ln(high.0 / low.0);
    outer(low) + (outer(high) - outer(low)) * x
}

/// Excitation, in dB re that of a tone of 1 kHz at 0 dB SPL, that is just heard in quiet at `hertz`.
pub fn threshold(hertz: f64) -> f64 {
    by_log(&THRESHOLD, hertz)
}

/// Ratio of signal to masker, in dB, at which a signal is just heard in a masker at `hertz`.
pub fn efficiency(hertz: f64) -> f64 {
    by_log(&EFFICIENCY, hertz)
}

fn by_log<const N: usize>(table: &[(f64, f64); N], hertz: f64) -> f64 {
    polyline(&table.map(|(f, y)| (log10(f), y)), log10(hertz.max(1.0)))
}

/// How loudness grows with excitation in one place of the inner ear.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Growth {
    /// Gain re 500 Hz and above, as a ratio of powers.
    pub gain: f64,
    /// Keeps loudness small near the threshold.
    pub floor: f64,
    /// Exponent.
    pub exponent: f64,
}

/// The growth of loudness at `hertz`.
///
/// The exponent by gain is a table; the floor is 2 thresholds where there is full gain, and otherwise such that loudness at
/// the threshold is the same everywhere, which is how the paper of 1997 defines it.
pub(crate) fn growth(hertz: f64) -> Growth {
    let top = pow(10.0, threshold(f64::MAX) / 10.0);
    let decibels = threshold(f64::MAX) - threshold(hertz);
    let exponent = polyline(&EXPONENT, decibels);
    let just_heard = |a: f64, e: f64| pow(top + a, e) - pow(a, e);
    let wanted = just_heard(2.0 * top, 0.2);
    // Loudness at threshold falls as the floor rises: halving finds it.
    let (mut low, mut high) = (top, 20.0 * top);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if just_heard(middle, exponent) > wanted { low = middle } else { high = middle }
    }
    Growth { gain: pow(10.0, decibels / 10.0), floor: 0.5 * (low + high), exponent }
}
