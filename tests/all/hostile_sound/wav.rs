//! Hostile WAV files: one row for each false statement in a header.

use super::*;

struct Wav {
    kind: u16,
    channels: u16,
    rate: u32,
    align: u16,
    bits: u16,
    /// The length that the header claims; none where it claims the true one.
    claims: Option<u32>,
    sound: Vec<u8>,
}

impl Wav {
    fn new() -> Self {
        let sound: Vec<u8> = tone(48_000)
            .iter()
            .flat_map(|sample| ((sample * 32_767.0) as i16).to_le_bytes())
            .collect();
        Self {
            kind: 1,
            channels: 1,
            rate: 48_000,
            align: 2,
            bits: 16,
            claims: None,
            sound,
        }
    }

    fn bytes(&self, before: &[u8]) -> Vec<u8> {
        let size = u32::try_from(self.sound.len()).expect("short");
        let claims = self.claims.unwrap_or(size);
        let mut bytes = b"RIFF".to_vec();
        bytes.extend(claims.saturating_add(36).to_le_bytes());
        bytes.extend(b"WAVEfmt \x10\0\0\0");
        bytes.extend(self.kind.to_le_bytes());
        bytes.extend(self.channels.to_le_bytes());
        bytes.extend(self.rate.to_le_bytes());
        bytes.extend(self.rate.wrapping_mul(u32::from(self.align)).to_le_bytes());
        bytes.extend(self.align.to_le_bytes());
        bytes.extend(self.bits.to_le_bytes());
        bytes.extend(before);
        bytes.extend(b"data");
        bytes.extend(claims.to_le_bytes());
        bytes.extend(&self.sound);
        bytes
    }
}

#[test]
fn hostile_wav_ends_in_a_sentence() {
    let wav = Wav::new;
    says("plain.wav", &wav().bytes(&[]), "low A 23");
    // sizes as left by a recorder that stopped before it could write them
    for claims in [0, u32::MAX, 1 << 31, 48_001] {
        let open = Wav {
            claims: Some(claims),
            ..wav()
        };
        reads("open.wav", &open.bytes(&[]), "24000 samples");
    }
    reads(
        "zero.wav",
        &Wav { rate: 0, ..wav() }.bytes(&[]),
        "0 samples a second",
    );
    reads(
        "most.wav",
        &Wav {
            rate: u32::MAX,
            ..wav()
        }
        .bytes(&[]),
        "expected 6000 to 384000",
    );
    reads(
        "none.wav",
        &Wav {
            channels: 0,
            ..wav()
        }
        .bytes(&[]),
        "0 channels",
    );
    let many = Wav {
        channels: u16::MAX,
        ..wav()
    };
    reads("many.wav", &many.bytes(&[]), "65535 channels");
    reads(
        "align.wav",
        &Wav { align: 0, ..wav() }.bytes(&[]),
        "0 bytes for 1 samples",
    );
    reads(
        "wide.wav",
        &Wav {
            align: u16::MAX,
            ..wav()
        }
        .bytes(&[]),
        "65535 bytes",
    );
    reads(
        "bits.wav",
        &Wav { bits: 0, ..wav() }.bytes(&[]),
        "of 0 bits",
    );
    for (kind, what) in [
        (0, "not been recognized"),
        (2, "adpcm must be 4 bits"),
        (6, "malformed fmt_alaw"),
        (7, "malformed fmt_mulaw"),
        (0x11, "adpcm must be 4 bits"),
        (0x55, "not been recognized"),
        (0xfffe, "malformed fmt_ext"),
        (0xffff, "not been recognized"),
    ] {
        let other = Wav { kind, ..wav() };
        reads("kind.wav", &other.bytes(&[]), what);
    }
    reads("list.wav", &wav().bytes(b"LIST\xff\xff\xff\xff"), "cut off");
    let info = b"LIST\x10\0\0\0INFOIART\xff\xff\xff\xff\0\0\0\0";
    says("info.wav", &wav().bytes(info), "low A 23");
    reads("only.wav", b"RIFF\x04\0\0\0WAVE", "no sound in it");
    let broken = Wav {
        kind: 3,
        align: 4,
        bits: 32,
        sound: [f32::NAN, f32::INFINITY, f32::MAX, -0.0]
            .repeat(12_000)
            .iter()
            .flat_map(|sample| sample.to_le_bytes())
            .collect(),
        ..wav()
    };
    says("nan.wav", &broken.bytes(&[]), "are no numbers");
    let whole = wav().bytes(info);
    for end in (0..100).chain([200, 48_001]) {
        ends("cut.wav", &whole[..end]);
    }
    for place in 0..80 {
        for value in [0, 0xff, 0x80] {
            let mut flipped = whole.clone();
            flipped[place] = value;
            ends("byte.wav", &flipped);
        }
    }
}
