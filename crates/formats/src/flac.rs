//! FLAC files out (RFC 9639), by a library, from a WAV file that was written.

use crate::WavSource;
use crate::wav::SampleFormat;
use flacenc::component::{BitRepr, Stream};
use flacenc::error::Verify;
use flacenc::source::{Context, Fill, FrameBuf};
use std::io::{self, Read};

/// Samples of a channel that are packed together: the usual of the format's own subset.
const BLOCK: usize = 4096;

/// Room for a block's own head and its channels', bits.
const HEAD_BITS: usize = 1024;

/// The next samples of a WAV file, as whole numbers of so many bits, into what is packed. Gives how many frames there are.
fn fill<R: Read>(from: &mut WavSource<R>, bits: usize, into: &mut (FrameBuf, Context)) -> io::Result<usize> {
    let mut block = Vec::new();
    let frames = from.block(BLOCK, &mut block)?;
    let full = f64::from(1u32 << (bits - 1));
    let mut mixed: Vec<i32> = Vec::with_capacity(frames * block.len());
    for i in 0..frames {
        for channel in &block {
            // What was written as integers comes back exactly; floats are rounded and cut off at full scale.
            let steps = f64::from(channel.get(i).copied().unwrap_or(0.0)) * full;
            let steps = (steps + 0.5_f64.copysign(steps)).clamp(-full, full - 1.0);
            mixed.push(steps as i32);
        }
    }
    into.fill_interleaved(&mixed).map_err(|e| unfit(&e))?;
    Ok(frames)
}

fn unfit(what: &dyn std::fmt::Debug) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidInput, format!("this sound cannot be written as FLAC: {what:?}"))
}

/// The bytes of a FLAC file with the samples of a WAV file of ours. Integers are kept as they are; floats become 24 bits.
///
/// Errors: those of `wav`; a shape that FLAC has not (more than eight channels).
pub fn of_wav(wav: impl Read) -> io::Result<Vec<u8>> {
    let mut from = WavSource::begin(wav)?;
    let bits = if from.format() == SampleFormat::Int16 { 16 } else { 24 };
    let config = |predicts: bool| {
        let mut config = flacenc::config::Encoder::default();
        config.subframe_coding.use_lpc = predicts;
        config.subframe_coding.use_fixed = predicts;
        config.into_verified().map_err(|(_, e)| unfit(&e))
    };
    let (predicting, plain) = (config(true)?, config(false)?);
    let (channels, rate) = (usize::from(from.shape().channels), from.shape().sample_rate as usize);
    let mut stream = Stream::new(rate, channels, bits).map_err(|e| unfit(&e))?;
    let held = FrameBuf::with_size(channels, BLOCK).map_err(|e| unfit(&e))?;
    let mut filled = (held, Context::new(bits, channels));
    loop {
        let frames = fill(&mut from, bits, &mut filled)?;
        if frames == 0 {
            break;
        }
        let number = filled.1.current_frame_number().unwrap_or(0);
        let encode =
            |config| flacenc::encode_fixed_size_frame(config, &filled.0, number, stream.stream_info());
        let mut frame = encode(&predicting).map_err(|e| unfit(&e))?;
        // The library's codes end at 14 bits a remainder, too few for loud noise of 24 bits: a block may then take a hundred
        // times its room, which it does not notice. Written as it is, it takes its own.
        if frame.count_bits() > frames * channels * bits + HEAD_BITS {
            frame = encode(&plain).map_err(|e| unfit(&e))?;
        }
        stream.add_frame(frame);
    }
    // The last block, which may be shorter, does not count (RFC 9639, section 8.2); two sizes would say that they vary.
    stream.stream_info_mut().set_block_sizes(BLOCK, BLOCK).map_err(|e| unfit(&e))?;
    stream.stream_info_mut().set_md5_digest(&filled.1.md5_digest());
    stream.stream_info_mut().set_total_samples(filled.1.total_samples());
    let mut sink = flacenc::bitsink::ByteSink::with_capacity(stream.count_bits());
    stream.write(&mut sink).map_err(|e| unfit(&e))?;
    Ok(sink.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio;
    use crate::wav::{Wav, write};
    use std::io::Cursor;

    /// What STREAMINFO says of the sound (RFC 9639, section 8.2), and its samples read back by a decoder of other makers. Loud noise is the
    /// worst there is for it.
    #[test]
    fn another_reader_has_the_same_samples() {
        let left: Vec<f32> =
            (0..10_000).map(|i| ((i * 7919 % 20_011) as f32 / 10_005.5 - 1.0) * 0.5).collect();
        let right: Vec<f32> = (0..10_000).map(|i| if i > 5000 { 0.0 } else { i as f32 / 10_000.0 }).collect();
        let wav = Wav { sample_rate: 44_100, channels: vec![left, right] };
        for (format, bits) in
            [(SampleFormat::Int16, 16), (SampleFormat::Int24, 24), (SampleFormat::Float32, 24)]
        {
            let bytes = write(&wav, format);
            let flac = of_wav(&bytes[..]).unwrap();
            assert_eq!(&flac[..4], b"fLaC");
            assert_eq!(flac[4] & 0x7f, 0, "STREAMINFO comes first");
            // After the two block sizes and the two frame sizes: 20 bits rate, 3 channels - 1, 5 bits - 1, 36 samples.
            let told = flac[18..26].iter().fold(0_u64, |all, byte| all << 8 | u64::from(*byte));
            assert_eq!(told >> 44, 44_100);
            assert_eq!((told >> 41 & 7) + 1, 2);
            assert_eq!((told >> 36 & 31) + 1, bits);
            assert_eq!(told & 0xf_ffff_ffff, 10_000);
            assert!(flac.len() < bytes.len() + 200, "{} of {}", flac.len(), bytes.len());
            let found = audio::read(Cursor::new(flac), 1.0).unwrap();
            let mut source = WavSource::begin(&bytes[..]).unwrap();
            let mut block = Vec::new();
            source.block(10_000, &mut block).unwrap();
            let within = if format == SampleFormat::Float32 { 0.6 / 8_388_608.0 } else { 0.0 };
            for (a, b) in found.channels.iter().zip(&block) {
                assert_eq!(a.len(), b.len());
                assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() <= within), "{format:?}");
            }
        }
    }
}
