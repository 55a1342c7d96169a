//! The options of every command with a screen, and the settings and the player that they lead to.

use super::arguments;
use crate::live::{Asked, Player};
use crate::services::{Failure, needs, settings};
use crate::settings::{Id, Settings, keys};
use crate::sound::ClickSound;
use crate::units::Hertz;

/// Arguments of everything with a screen.
#[derive(clap::Args, Default)]
pub(crate) struct ScreenArguments {
    /// Pitch of low A in hertz: 236 when left out, 480 with --pipes; the ear looks for yours then.
    #[arg(long, value_parser = arguments::low_a)]
    la: Option<Hertz>,
    /// The pipe chanter instead of the practice chanter.
    #[arg(long)]
    pipes: bool,
    /// Begin with the drones on.
    #[arg(long)]
    drones: bool,
    /// Sound device, by the name that `devices` prints.
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// Frames in one block of the device; smaller is sooner, larger is safer.
    #[arg(long, value_name = "FRAMES", value_parser = clap::value_parser!(u32).range(32..=16_384))]
    buffer: Option<u32>,
    /// Milliseconds the ear hears later than the device says: slow headphones.
    #[arg(long, value_name = "MS", allow_hyphen_values = true,
          value_parser = clap::value_parser!(i32).range(-500..=1000))]
    offset: Option<i32>,
    /// Sound of the click.
    #[arg(long, value_name = "NAME", value_parser = click_sound)]
    click: Option<ClickSound>,
    /// Begin without the reference line: you alone with the click.
    #[arg(long)]
    alone: bool,
    /// The picture of the chanter for a left-handed player.
    #[arg(long)]
    left_handed: bool,
    /// Plain lines instead of a screen, for screen readers.
    #[arg(long)]
    plain: bool,
}

fn click_sound(text: &str) -> Result<ClickSound, String> {
    ClickSound::ALL
        .into_iter()
        .find(|sound| sound.name() == text)
        .ok_or_else(|| {
            let names: Vec<&str> = ClickSound::ALL.iter().map(|sound| sound.name()).collect();
            format!("expected {}", crate::wording::choice(&names))
        })
}

impl ScreenArguments {
    /// The given options, as settings.
    pub(super) fn flags(&self) -> Vec<(Id, String)> {
        let mut flags = Vec::new();
        let mut give = |id, word: Option<String>| flags.extend(word.map(|word| (id, word)));
        let on = |flag: bool| flag.then(|| "true".to_owned());
        give(keys::LA.id(), self.la.map(|la| la.0.to_string()));
        give(
            keys::INSTRUMENT.id(),
            self.pipes.then(|| "pipes".to_owned()),
        );
        give(keys::DRONES.id(), on(self.drones));
        give(keys::DEVICE.id(), self.device.clone());
        give(
            keys::OFFSET.id(),
            self.offset.map(|offset| offset.to_string()),
        );
        give(
            keys::CLICK.id(),
            self.click.map(|click| click.name().to_owned()),
        );
        give(keys::ALONE.id(), on(self.alone));
        give(keys::LEFT_HANDED.id(), on(self.left_handed));
        give(keys::PLAIN.id(), on(self.plain));
        flags
    }

    /// The settings, overridden by the given options.
    ///
    /// # Errors
    /// All problems in the settings file and the environment.
    pub(crate) fn settings(&self) -> Result<Settings, Failure> {
        settings_of(&self.flags())
    }

    /// A player as the settings and options ask for. Nothing sounds yet.
    pub(super) fn player(&self, settings: &Settings) -> Player {
        let mut player = Player::new(self.asked(settings), settings::options(settings).sound());
        player.set_offset(settings.number(keys::OFFSET) as i32);
        player
    }

    pub(super) fn asked(&self, settings: &Settings) -> Asked {
        Asked {
            device: settings.given(keys::DEVICE).map(str::to_owned),
            buffer: self.buffer,
        }
    }
}

/// The settings for a page with sound, overridden by these options. The thresholds of judging are
/// read only where the microphone marks.
///
/// # Errors
/// A setting that the page needs is wrong.
pub(super) fn settings_of(flags: &[(Id, String)]) -> Result<Settings, Failure> {
    let own = settings::load(flags, &[needs::SOUND, needs::SCREEN, needs::WARM_UP])?;
    if own.word(keys::MARK_BY) == "ear" {
        return settings::load(flags, &[needs::JUDGING]);
    }
    Ok(own)
}
