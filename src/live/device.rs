//! Lists the audio devices, and finds the one that was asked for.

use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{
    BufferSize, ErrorKind, SampleFormat, StreamConfig, SupportedBufferSize, SupportedStreamConfig,
};

/// The buffer in frames that is asked of a device at 48,000 frames a second, where the player
/// chooses none. At other rates the buffer lasts about as long. Measured through a sound server
/// under load: 256 frames lose clicks and 1024 do not. The screen's beat is corrected for the 28 ms
/// of latency that this costs.
pub const DEFAULT_BUFFER: u32 = 1024;

/// The power of two that lasts about as long as [`DEFAULT_BUFFER`] at this rate. Devices work best
/// with powers of two.
fn usual_buffer(rate: u32) -> u32 {
    let frames = u64::from(DEFAULT_BUFFER) * u64::from(rate) / u64::from(SampleRate::USUAL.0);
    u32::try_from(frames)
        .unwrap_or(LARGEST_BUFFER)
        .clamp(64, LARGEST_BUFFER)
        .next_power_of_two()
}

/// Calls a function that is generic over the sample type with the type of a device's sample format.
macro_rules! for_sample_type {
    ($format:expr, $build:ident($chosen:expr, $guest:expr)) => {
        match $format {
            cpal::SampleFormat::F32 => $build::<f32>($chosen, $guest),
            cpal::SampleFormat::F64 => $build::<f64>($chosen, $guest),
            cpal::SampleFormat::I16 => $build::<i16>($chosen, $guest),
            cpal::SampleFormat::I32 => $build::<i32>($chosen, $guest),
            cpal::SampleFormat::I8 => $build::<i8>($chosen, $guest),
            cpal::SampleFormat::U8 => $build::<u8>($chosen, $guest),
            cpal::SampleFormat::U16 => $build::<u16>($chosen, $guest),
            cpal::SampleFormat::U32 => $build::<u32>($chosen, $guest),
            other => {
                // dropped here because it may hold the renderer, which must be returned
                drop($guest);
                Err(DeviceError::Format(other.to_string()))
            }
        }
    };
}
pub(super) use for_sample_type;

/// The device and buffer that the player asks for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Asked {
    /// A device by its name or by the system's identifier; none for the system's default.
    pub device: Option<String>,
    /// The buffer size in frames; none for the usual size at the device's rate.
    pub buffer: Option<u32>,
}

/// The reason why there is no sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum DeviceError {
    /// The system's sound library cannot be used; with its reason.
    NoHost(String),
    /// The system has no output device.
    NoDevice,
    /// There is no device with this name.
    NotFound {
        /// The name that was asked for.
        asked: String,
        /// The names of the devices that exist.
        known: Vec<String>,
    },
    /// The system has no microphone.
    NoMicrophone,
    /// The device accepts no sample format that we support.
    Format(String),
    /// The device could not be opened.
    Open {
        /// The device that was asked for.
        device: String,
        /// The system's reason.
        reason: String,
    },
}

impl std::fmt::Display for DeviceError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoHost(reason) => write!(f, "the system's sound cannot be used: {reason}"),
            Self::NoDevice => write!(f, "the system has no output device"),
            Self::NoMicrophone => write!(f, "the system has no microphone"),
            Self::NotFound { asked, known } if known.is_empty() => {
                write!(f, "no sound device `{asked}`: there is none at all")
            }
            Self::NotFound { asked, known } => write!(
                f,
                "no sound device `{asked}`: expected one of `{}`",
                known.join("`, `")
            ),
            Self::Format(format) => {
                write!(
                    f,
                    "the device wants samples of format `{format}`, which we cannot give"
                )
            }
            Self::Open { device, reason } => write!(f, "`{device}` cannot be opened: {reason}"),
        }
    }
}
impl std::error::Error for DeviceError {}

impl DeviceError {
    /// The error for a device that could not be opened. The system's reason is replaced where it
    /// would not help a player. Thread: keeper. Allocates: yes. Blocks: no.
    pub(super) fn open(device: &str, error: &cpal::Error) -> Self {
        let reason = match error.kind() {
            ErrorKind::DeviceNotAvailable => "it is not there".to_owned(),
            ErrorKind::DeviceBusy => "another program uses it".to_owned(),
            ErrorKind::PermissionDenied => "this user may not use it".to_owned(),
            ErrorKind::HostUnavailable => "the sound server does not run".to_owned(),
            _ => error.to_string(),
        };
        Self::Open {
            device: device.to_owned(),
            reason,
        }
    }
}

/// An output device or a microphone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundDevice {
    /// The device's name as shown to the player.
    pub name: String,
    /// The system's identifier, which is unique.
    pub id: String,
    /// True for the device that is used when none is asked for.
    pub default: bool,
    /// The sample rate it would be opened with, in frames a second; none where it is unknown.
    pub rate: Option<u32>,
    /// The number of channels it would be opened with; none where it is unknown.
    pub channels: Option<u16>,
}

/// The system's sound library. On Linux it is chosen by name, because the library's own choice of a
/// default panics where ALSA cannot be loaded.
fn host() -> Result<cpal::Host, DeviceError> {
    #[cfg(target_os = "linux")]
    {
        cpal::host_from_id(cpal::HostId::Alsa)
            .map_err(|error| DeviceError::NoHost(error.to_string()))
    }
    #[cfg(not(target_os = "linux"))]
    {
        Ok(cpal::default_host())
    }
}

fn name_of(device: &cpal::Device) -> String {
    device
        .description()
        .map_or_else(|_| device.to_string(), |about| about.name().to_owned())
}

fn id_of(device: &cpal::Device) -> String {
    device
        .id()
        .map_or_else(|_| name_of(device), |id| id.id().to_owned())
}

/// All output devices: the default first, and those without a known rate last, which mostly are
/// plugs without a device behind them. Call it only on request, because asking each device makes
/// some libraries print, wakes hardware and takes a second. Thread: main. Allocates: yes. Blocks:
/// on the devices.
///
/// # Errors
/// The system's sound library cannot be used.
pub fn list() -> Result<Vec<FoundDevice>, DeviceError> {
    let host = host()?;
    let default = host.default_output_device();
    found(
        host.output_devices(),
        default.as_ref(),
        DeviceTrait::default_output_config,
    )
}

/// All microphones, in the same order as in [`list`]. Thread: main. Allocates: yes. Blocks: on the
/// devices.
///
/// # Errors
/// The system's sound library cannot be used.
pub fn list_microphones() -> Result<Vec<FoundDevice>, DeviceError> {
    let host = host()?;
    let default = host.default_input_device();
    found(
        host.input_devices(),
        default.as_ref(),
        DeviceTrait::default_input_config,
    )
}

fn found(
    devices: Result<impl Iterator<Item = cpal::Device>, cpal::Error>,
    default: Option<&cpal::Device>,
    supported: impl Fn(&cpal::Device) -> Result<SupportedStreamConfig, cpal::Error>,
) -> Result<Vec<FoundDevice>, DeviceError> {
    let default = default.map(id_of);
    let mut found: Vec<FoundDevice> = devices
        .map_err(|error| DeviceError::NoHost(error.to_string()))?
        .map(|device| {
            let config = supported(&device).ok();
            let id = id_of(&device);
            FoundDevice {
                name: name_of(&device),
                default: Some(&id) == default.as_ref(),
                id,
                rate: config.map(|config| config.sample_rate()),
                channels: config.map(|config| config.channels()),
            }
        })
        .collect();
    found.sort_by_key(|device| (!device.default, device.rate.is_none()));
    Ok(found)
}

/// A device, with the options for opening it.
pub(super) struct Chosen {
    pub(super) device: cpal::Device,
    pub(super) name: String,
    pub(super) config: StreamConfig,
    /// The buffer size in frames to ask for.
    pub(super) buffer: u32,
    pub(super) format: SampleFormat,
}

/// Finds the device that is asked for. Thread: keeper. Allocates: yes. Blocks: on the devices.
pub(super) fn choose(asked: &Asked) -> Result<Chosen, DeviceError> {
    let host = host()?;
    let device = match &asked.device {
        None => host.default_output_device().ok_or(DeviceError::NoDevice)?,
        Some(name) => named(name, host.output_devices())?,
    };
    chosen(device, asked.buffer, DeviceTrait::default_output_config)
}

/// The buffer size of a microphone in frames. It is small because a note should be on the screen
/// within 80 ms.
pub const MICROPHONE_BUFFER: u32 = 256;
/// The largest buffer that the program chooses by itself, in frames: 170 ms at 48 kHz. A computer
/// that has underruns with this buffer would have them with a larger one too.
pub const LARGEST_BUFFER: u32 = 8192;

/// Finds the microphone that is asked for. Thread: main. Allocates: yes. Blocks: on the devices.
pub(super) fn choose_input(asked: Option<&str>, buffer: u32) -> Result<Chosen, DeviceError> {
    let host = host()?;
    let device = match asked {
        None => host
            .default_input_device()
            .ok_or(DeviceError::NoMicrophone)?,
        Some(name) => named(name, host.input_devices())?,
    };
    chosen(device, Some(buffer), DeviceTrait::default_input_config)
}

fn named(
    name: &str,
    devices: Result<impl Iterator<Item = cpal::Device>, cpal::Error>,
) -> Result<cpal::Device, DeviceError> {
    let devices: Vec<cpal::Device> = devices
        .map_err(|error| DeviceError::NoHost(error.to_string()))?
        .collect();
    let fits = |device: &&cpal::Device| {
        id_of(device) == name || name_of(device).eq_ignore_ascii_case(name)
    };
    devices
        .iter()
        .find(fits)
        .cloned()
        .ok_or_else(|| DeviceError::NotFound {
            asked: name.to_owned(),
            known: devices.iter().map(id_of).collect(),
        })
}

fn chosen(
    device: cpal::Device,
    buffer: Option<u32>,
    supported: impl Fn(&cpal::Device) -> Result<SupportedStreamConfig, cpal::Error>,
) -> Result<Chosen, DeviceError> {
    let name = name_of(&device);
    let supported = supported(&device).map_err(|error| DeviceError::open(&name, &error))?;
    let mut config = supported.config();
    let buffer = buffer.unwrap_or_else(|| usual_buffer(config.sample_rate));
    let buffer = within(buffer, *supported.buffer_size());
    config.buffer_size = BufferSize::Fixed(buffer);
    Ok(Chosen {
        device,
        name,
        config,
        buffer,
        format: supported.sample_format(),
    })
}

/// The buffer size nearest to `asked` that the device accepts, in frames.
fn within(asked: u32, range: SupportedBufferSize) -> u32 {
    match range {
        SupportedBufferSize::Range { min, max } => asked.clamp(min, max.max(min)),
        SupportedBufferSize::Unknown => asked,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// On some systems opening fails with a buffer size outside the range.
    #[test]
    fn the_buffer_is_held_to_what_the_device_takes() {
        let range = SupportedBufferSize::Range {
            min: 128,
            max: 2048,
        };
        assert_eq!(within(64, range), 128);
        assert_eq!(within(1024, range), 1024);
        assert_eq!(within(4096, range), 2048);
        assert_eq!(within(1024, SupportedBufferSize::Unknown), 1024);
    }

    /// The same number of frames lasts half as long at twice the rate, which caused underruns at
    /// 96,000 frames a second.
    #[test]
    fn the_buffer_lasts_as_long_at_every_rate() {
        for (rate, frames) in [
            (22_050, 512),
            (44_100, 1024),
            (48_000, 1024),
            (96_000, 2048),
            (192_000, 4096),
            (0, 64),
            (u32::MAX, LARGEST_BUFFER),
        ] {
            assert_eq!(usual_buffer(rate), frames, "{rate}");
        }
    }

    #[test]
    fn a_missing_device_is_told_with_those_that_are_there() {
        let error = DeviceError::NotFound {
            asked: "hedphones".to_owned(),
            known: vec!["default".to_owned(), "hw:0,0".to_owned()],
        };
        assert_eq!(
            error.to_string(),
            "no sound device `hedphones`: expected one of `default`, `hw:0,0`"
        );
    }
}
