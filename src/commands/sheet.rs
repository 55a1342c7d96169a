//! `sheet`: prints drills on paper.

use super::{Outcome, Ran, arguments, tune};
use crate::drill::Drill;
use crate::services::{Failure, drill_files::Opened, open::open_all, output, phrases, settings};
use crate::settings::keys;
use crate::sheet::{
    Booklet, Paper, SheetOptions, compose_with_map, write_pdf, write_png, write_svg,
};
use crate::wording;
use std::path::{Path, PathBuf};

/// Arguments of `sheet`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung sheet grip-from-d\n  gracerung sheet grip-from-d -o grip.png\n  \
    gracerung sheet grip taorluath --clicks --paper letter -o booklet.pdf\n  \
    gracerung sheet my-march.abc --bars 5-8 -o phrase.png\n\n\
    The ending of FILE says what is written: .pdf, .svg or .png. Several drills make a booklet,\n\
    each on a page of its own; so does homework. A movement is named above the staff where it first stands in a\n\
    stage. An existing file is kept unless --force is given.\n\n\
    Exit 0: written. Exit 1: written, with characters that the font does not have."
)]
pub(crate) struct Arguments {
    /// Names of built-in drills, or paths.
    #[arg(value_name = "DRILL", required = true)]
    drills: Vec<String>,
    #[command(flatten)]
    of_tune: arguments::OfTune,
    /// With --bars, --part or --phrase the stage that holds the tune, by number from 1 or by name.
    #[arg(long)]
    stage: Option<String>,
    /// Where to write: FILE.pdf, FILE.svg or FILE.png; else a PDF of the first drill's name here.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// The paper.
    #[arg(long, value_enum, default_value = "a4")]
    paper: PaperName,
    /// Numbers of the clicks under the staff.
    #[arg(long)]
    clicks: bool,
    /// Under the staves of a tune where you failed lately, from your journal.
    #[arg(long)]
    where_it_fails: bool,
    /// The finger chart for a player whose right hand is on top.
    #[arg(long)]
    left_handed: bool,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
}

/// The paper sizes by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum PaperName {
    /// 210 × 297 mm.
    A4,
    /// 8.5 × 11 inches.
    Letter,
}

impl From<PaperName> for Paper {
    fn from(name: PaperName) -> Self {
        match name {
            PaperName::A4 => Self::A4,
            PaperName::Letter => Self::Letter,
        }
    }
}

/// The resolution of a PNG in dots per inch: sharp on a screen and in print, with a page below 2
/// MB.
const DOTS: f64 = 150.0;

/// The formats that can be written.
pub(super) enum Format {
    Pdf,
    Svg,
    Png,
}

/// The format that a path's extension asks for.
///
/// # Errors
/// The extension stands for no format that can be written.
pub(super) fn format_of(path: &Path) -> Result<Format, Failure> {
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    match ending.as_deref() {
        Some("pdf") => Ok(Format::Pdf),
        Some("svg") => Ok(Format::Svg),
        Some("png") => Ok(Format::Png),
        _ => Err(Failure(format!(
            "`{}` does not say what to write: end it with .pdf, .svg or .png",
            path.display()
        ))),
    }
}

impl Format {
    /// A booklet in this format.
    ///
    /// # Errors
    /// The format cannot hold the booklet, such as a single picture for several pages.
    pub(super) fn write(&self, booklet: &Booklet) -> Result<Vec<u8>, Failure> {
        match self {
            Self::Pdf => write_pdf(booklet).map_err(|error| Failure(error.to_string())),
            Self::Svg => Ok(write_svg(booklet).into_bytes()),
            Self::Png => write_png(booklet, DOTS).map_err(|error| Failure(error.to_string())),
        }
    }
}

/// Runs `sheet`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let first = arguments.drills.first().map_or("sheet", String::as_str);
    let target = output::or_named(arguments.output.as_deref(), first, "pdf");
    let format = format_of(&target)?;
    output::ready_to_write(&target, arguments.force)?;
    let mut opened = Vec::with_capacity(arguments.drills.len());
    for wanted in &arguments.drills {
        opened.extend(open_all(wanted)?);
    }
    let which = arguments.of_tune.which();
    if which.is_given() {
        let among: Vec<&Opened> = opened.iter().collect();
        let (place, chosen) = phrases::choose_among(&among, arguments.stage.as_deref(), &which)?;
        opened[place] = chosen.with_file()?.0;
    } else if arguments.stage.is_some() {
        return Err(Failure(
            "--stage says which stage is the tune, with --bars, --part, --phrase or --held-dots: a \
             sheet has every stage of a drill"
                .to_owned(),
        ));
    }
    let failing = opened.iter().filter(|_| arguments.where_it_fails);
    let bars: Vec<_> = failing.map(tune::bars_that_fail).collect();
    let drills: Vec<Drill> = opened.into_iter().map(|opened| opened.drill).collect();
    let options = SheetOptions {
        paper: arguments.paper.into(),
        clicks: arguments.clicks,
        left_handed: arguments.left_handed
            || settings::load(&[], &[&[keys::LEFT_HANDED.id()]])?.switch(keys::LEFT_HANDED),
    };
    let booklet = compose_with_map(&drills, &bars, &options);
    let outcome = told_lacking(&booklet);
    let bytes = format.write(&booklet)?;
    output::write_bytes(&target, arguments.force, &bytes)?;
    let titles: Vec<&str> = drills.iter().map(|drill| drill.title.as_str()).collect();
    let pages = wording::count(booklet.pages.len(), "page", "pages");
    output::wrote(&target, &format!("{} on {pages}", wording::list(&titles)))?;
    Ok(outcome)
}

/// The most characters that are named in the message.
const MOST_NAMED: usize = 8;

/// Reports once which characters the font of sheets lacks.
pub(super) fn told_lacking(booklet: &Booklet) -> Outcome {
    let lacking = booklet.lacking();
    if lacking.is_empty() {
        return Outcome::Done;
    }
    let mut names: Vec<String> = lacking
        .iter()
        .take(MOST_NAMED)
        .map(|sign| format!("`{}`", sign.escape_debug()))
        .collect();
    if lacking.len() > MOST_NAMED {
        names.push(format!("{} more", lacking.len() - MOST_NAMED));
    }
    output::complain(&format!(
        "the font of sheets does not have {}: `?` stands there on paper; write it in Latin letters",
        crate::wording::list(&names)
    ));
    Outcome::Findings
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ending_says_what_is_written() {
        assert!(matches!(format_of(Path::new("a.PDF")), Ok(Format::Pdf)));
        assert!(matches!(format_of(Path::new("a.b.svg")), Ok(Format::Svg)));
        let refused = format_of(Path::new("sheet")).err().expect("no ending");
        assert!(refused.0.contains(".pdf, .svg or .png"), "{refused}");
    }
}
