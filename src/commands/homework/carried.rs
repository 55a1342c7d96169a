//! The recordings that are sent with a report: the best one of each cell, in a small and lossless
//! format.

use crate::services::{Failure, output, takes};
use crate::units::SampleRate;
use flacenc::component::BitRepr as _;
use flacenc::error::Verify as _;
use jiff::civil::Date;
use std::path::Path;

/// The largest recording that is sent, in bytes; a mail can carry several of this size. A longer
/// recording is cut to its end.
const LARGEST: usize = 2_000_000;
/// The most recordings that are sent with one report.
const MOST: usize = 6;

/// Writes the best recordings of some drills beside the report, from those made since a day.
/// Returns the names of the files.
///
/// # Errors
/// A recording cannot be read, or a file cannot be written.
pub(super) fn beside(
    report: &Path,
    drills: &[String],
    from: Date,
    force: bool,
) -> Result<Vec<String>, Failure> {
    let stem = report.file_stem().unwrap_or_default().to_string_lossy();
    let mut names = Vec::new();
    for (number, take) in takes::best(drills, from)?
        .into_iter()
        .take(MOST)
        .enumerate()
    {
        let (samples, rate) = takes::sound(&take)?;
        let name = format!("{stem}-take-{}.flac", number + 1);
        let target = report.with_file_name(&name);
        output::write_bytes(&target, force, &small(&samples, rate)?)?;
        names.push(name);
    }
    Ok(names)
}

/// A recording as FLAC (RFC 9639). Where the whole would be too large, only its end is kept.
fn small(samples: &[f32], rate: SampleRate) -> Result<Vec<u8>, Failure> {
    let mut kept = samples;
    loop {
        let bytes = flac(kept, rate)?;
        if bytes.len() <= LARGEST || kept.len() < 2 {
            return Ok(bytes);
        }
        let share = LARGEST as f64 / bytes.len() as f64 * 0.95;
        let length = (kept.len() as f64 * share) as usize;
        kept = &kept[kept.len() - length..];
    }
}

/// One channel of 16-bit samples as FLAC.
fn flac(samples: &[f32], rate: SampleRate) -> Result<Vec<u8>, Failure> {
    let told = |what: &dyn std::fmt::Debug| Failure(format!("the take cannot be packed: {what:?}"));
    let whole: Vec<i32> = samples
        .iter()
        .map(|sample| (sample.clamp(-1.0, 1.0) * f32::from(i16::MAX)).round() as i32)
        .collect();
    let config = flacenc::config::Encoder::default();
    let config = config.into_verified().map_err(|(_, error)| told(&error))?;
    let source = flacenc::source::MemSource::from_samples(&whole, 1, 16, rate.0 as usize);
    let stream = flacenc::encode_with_fixed_block_size(&config, source, config.block_size)
        .map_err(|error| told(&error))?;
    let mut sink = flacenc::bitsink::ByteSink::new();
    stream.write(&mut sink).map_err(|error| told(&error))?;
    let mut bytes = sink.as_slice().to_vec();
    // The header states the smallest block size without counting the last block (RFC 9639, 8.2).
    // The encoder counts the last block, which declares a variable block size, and decoders then
    // find no frame. So the largest block size is written over the smallest.
    if let Some(blocks) = bytes.get_mut(8..12) {
        blocks.copy_within(2..4, 0);
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::services::files::recording;

    /// The teacher must hear exactly what the student played: an independent decoder returns every
    /// sample unchanged, and a long recording stays within the size limit.
    #[test]
    fn a_take_comes_back_sample_by_sample_and_stays_small() {
        let rate = SampleRate(48_000);
        let tone = |seconds: f64| -> Vec<f32> {
            (0..(48_000.0 * seconds) as u32)
                .map(|at| 0.5 * (f64::from(at) * 0.0309).sin() as f32)
                .collect()
        };
        let played = tone(2.0);
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("take.flac");
        std::fs::write(&file, small(&played, rate).expect("packed")).expect("written");
        let mut back = recording(&file).expect("it reads");
        let heard = back.read(1_000_000);
        assert_eq!(heard.len(), played.len());
        let off = heard
            .iter()
            .zip(&played)
            .map(|(one, other)| (one - other).abs());
        assert!(off.fold(0.0, f32::max) < 1.0 / 32_000.0);
        let mut noise = 1_u32;
        let loud: Vec<f32> = (0..48_000 * 60)
            .map(|_| {
                noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (noise >> 8) as f32 / 8_388_608.0 - 1.0
            })
            .collect();
        assert!(small(&loud, rate).expect("packed").len() <= LARGEST);
    }
}
