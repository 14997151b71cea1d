//! Writes what `tests/cross/rooms.py` measures: every room's response as a WAV file of 32-bit floats, what we measure on it,
//! and the first arrivals of one room.
//!
//!     responses FOLDER [SAMPLE_RATE]

use ripieno_formats::wav::{self, SampleFormat, Wav};
use ripieno_hall::{Balance, MIDDLE, OCTAVES, OFF, Source, halls, measure, prepare};
use ripieno_signal::Position;
use std::fmt::Write as _;
use std::path::PathBuf;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let folder = PathBuf::from(arguments.next().ok_or("responses FOLDER [SAMPLE_RATE]")?);
    let rate: u32 = arguments.next().map_or(Ok(48_000), |word| word.parse())?;
    std::fs::create_dir_all(&folder)?;
    let middle = Source { position: MIDDLE, ..Source::default() };
    let mut table = String::from("room\tchannel\thertz\twanted\teyring\tedt\tt20\tt30\tc80\td50\tts\n");
    let mut times = String::from("room\tprepare_ms\tchair_ms\tframes\n");
    for hall in halls() {
        let start = Instant::now();
        let room = prepare(hall, rate);
        let prepared = start.elapsed();
        let start = Instant::now();
        let early = room.early(&[(middle, 1.0)], &Balance::default());
        let chair = start.elapsed();
        let response = room.response(&middle, &Balance::default());
        writeln!(
            times,
            "{}\t{:.0}\t{:.2}\t{}",
            hall.id,
            1000.0 * prepared.as_secs_f64(),
            1000.0 * chair.as_secs_f64(),
            response.frames().max(early.frames())
        )?;
        let all = [
            ("left", measure::measures(&response.left, rate.into())),
            ("right", measure::measures(&response.right, rate.into())),
            ("both", room.measures()),
        ];
        let eyring = hall.eyring();
        for (channel, bands) in all {
            for (i, m) in bands.iter().enumerate() {
                let seconds = |t: Option<ripieno_units::Seconds>| t.map_or(f64::NAN, |t| t.0);
                writeln!(
                    table,
                    "{}\t{channel}\t{}\t{}\t{:.4}\t{:.4}\t{:.4}\t{:.4}\t{:.3}\t{:.4}\t{:.5}",
                    hall.id,
                    OCTAVES[i],
                    hall.wanted[i],
                    eyring[i],
                    seconds(m.edt),
                    seconds(m.t20),
                    seconds(m.t30),
                    m.c80.0,
                    m.d50,
                    m.ts.0
                )?;
            }
        }
        let sound = Wav { sample_rate: rate, channels: vec![response.left, response.right] };
        std::fs::write(folder.join(format!("{}.wav", hall.id)), wav::write(&sound, SampleFormat::Float32))?;
    }
    std::fs::write(folder.join("measures.tsv"), table)?;
    std::fs::write(folder.join("times.tsv"), times)?;

    // One room's arrivals at the tree, to be found by another image-source program.
    let hall = halls().iter().find(|h| h.id == "concert-hall").ok_or("no concert-hall")?;
    let room = prepare(hall, rate);
    let tree = Balance { near: OFF, wide: OFF, far: OFF, ..Balance::default() };
    let mut arrivals = String::from("kind\tnumber\torder\tx\ty\tz\teven\tused\n");
    writeln!(
        arrivals,
        "box\t-\t-\t{}\t{}\t{}\t{}\t-",
        hall.width,
        hall.depth(),
        hall.height,
        hall.downstage
    )?;
    writeln!(arrivals, "tail\t-\t-\t-\t-\t-\t{}\t-", room.mixing_time().0)?;
    for (number, (x, y)) in [(-3.6, 2.2), (1.0, 7.4)].into_iter().enumerate() {
        let source = Source { position: Position::seated(x, y), ..Source::default() };
        let p = room.place(source.position);
        writeln!(arrivals, "source\t{number}\t-\t{}\t{}\t{}\t-\t-", p.x, p.y, p.z)?;
        for a in room.arrivals(&source, &tree) {
            let p = a.position;
            writeln!(
                arrivals,
                "arrival\t{}\t{}\t{}\t{}\t{}\t{:.9}\t{:.9}",
                a.microphone, a.order, p.x, p.y, p.z, a.even.0, a.used.0
            )?;
        }
        let direct = room.direct(&source, &tree);
        let sound = Wav { sample_rate: rate, channels: vec![direct.left, direct.right] };
        std::fs::write(
            folder.join(format!("direct-{number}.wav")),
            wav::write(&sound, SampleFormat::Float32),
        )?;
    }
    std::fs::write(folder.join("arrivals.tsv"), arrivals)?;
    Ok(())
}
