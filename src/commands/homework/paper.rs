//! The reports of a class on paper: a table sorted by student, on as many pages as it needs.

use crate::engraving::font::{Face, Segment};
use crate::homework::{Row, clean_words};
use crate::sheet::{Block, Booklet, Heading, Ink, Paper, SheetPage, TableCell, TagRole};

/// The margin of the page in points; 42.5 points are 15 mm.
const MARGIN: f64 = 42.5;
const TEXT: f64 = 9.0;
const LINE: f64 = 11.5;
const PADDING: f64 = 4.0;
/// The thickness of the rule below a drill and of the rule below a student, in points.
const THIN: f64 = 0.3;
const THICK: f64 = 0.9;
/// The heading of each column, and its width as a share of the page between its margins.
const COLUMNS: [(&str, f64); 5] = [
    ("who", 0.18),
    ("drill, to reach", 0.23),
    ("stands", 0.23),
    ("clean lately", 0.11),
    ("faults and questions", 0.25),
];

/// Breaks a text into lines of at most this width in points. A wider word is broken too.
fn wrapped(text: &str, face: Face, width: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    let fits = |text: &str| face.width(text, TEXT) <= width;
    for word in text.split_whitespace() {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for sign in word.chars() {
            line.push(sign);
            if !fits(&line) && line.chars().count() > 1 {
                line.pop();
                lines.push(std::mem::replace(&mut line, sign.to_string()));
            }
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

fn words(text: &str, x: f64, y: f64, size: f64, face: Face) -> Ink {
    Ink::Text {
        text: text.to_owned(),
        x,
        y,
        size,
        face,
    }
}

fn rule(left: f64, right: f64, y: f64, thick: f64) -> Ink {
    Ink::Fill(vec![
        Segment::Move((left, y - thick / 2.0)),
        Segment::Line((right, y - thick / 2.0)),
        Segment::Line((right, y + thick / 2.0)),
        Segment::Line((left, y + thick / 2.0)),
        Segment::Close,
    ])
}

/// The text of each column, one paragraph an entry.
fn texts(row: &Row) -> [Vec<String>; 5] {
    let mut more = row.faults.clone();
    more.extend(row.quoted());
    let drill = if row.missing {
        String::new()
    } else {
        format!("{}: {}", row.drill, row.reach)
    };
    let lately = if row.missing {
        String::new()
    } else {
        clean_words(&row.lately)
    };
    [
        vec![row.who()],
        vec![drill],
        vec![row.stands()],
        vec![lately],
        more,
    ]
}

struct Table {
    pages: Vec<SheetPage>,
    rules: Vec<Ink>,
    rows: Vec<Vec<TableCell>>,
    y: f64,
    size: (f64, f64),
    summary: String,
}

impl Table {
    fn inner(&self) -> f64 {
        self.size.0 - 2.0 * MARGIN
    }

    fn bottom(&self) -> f64 {
        self.size.1 - MARGIN - 14.0
    }

    /// Draws a row of the table at the present height of the page. The row is as high as its
    /// highest cell. `thick` is the thickness of the rule below it, in points.
    fn row(&mut self, columns: &[Vec<String>], face: Face, head: bool, thick: f64) {
        let mut x = MARGIN;
        let mut cells = Vec::with_capacity(columns.len());
        for (place, (lines, (_, share))) in columns.iter().zip(COLUMNS).enumerate() {
            let ink = lines
                .iter()
                .enumerate()
                .map(|(line, text)| {
                    let y = self.y + PADDING + TEXT + line as f64 * LINE;
                    words(text, x, y, TEXT, face)
                })
                .collect();
            cells.push(TableCell {
                heading: match (head, place) {
                    (true, _) => Some(Heading::Column),
                    (false, 0) => Some(Heading::Row),
                    _ => None,
                },
                ink,
            });
            x += share * self.inner();
        }
        self.rows.push(cells);
        self.y += height(columns);
        self.rules
            .push(rule(MARGIN, self.size.0 - MARGIN, self.y, thick));
    }

    fn head(&mut self) {
        let heads: Vec<Vec<String>> = COLUMNS
            .iter()
            .map(|(name, share)| wrapped(name, Face::Bold, share * self.inner() - 2.0 * PADDING))
            .collect();
        self.row(&heads, Face::Bold, true, THICK);
    }

    /// Ends the table on this page and writes the page number below it.
    fn end_page(&mut self) {
        let number = format!("{}", self.pages.len());
        let width = Face::Regular.width(&number, TEXT);
        let (x, y) = (self.size.0 / 2.0 - width / 2.0, self.size.1 - MARGIN);
        let Some(page) = self.pages.last_mut() else {
            return;
        };
        page.blocks.push(Block {
            role: TagRole::Table(self.summary.clone()),
            ink: std::mem::take(&mut self.rules),
            rows: std::mem::take(&mut self.rows),
        });
        page.blocks.push(Block {
            role: TagRole::Furniture,
            ink: vec![words(&number, x, y, TEXT, Face::Regular)],
            rows: Vec::new(),
        });
    }
}

fn height(columns: &[Vec<String>]) -> f64 {
    let lines = columns.iter().map(Vec::len).max().unwrap_or(0).max(1);
    lines as f64 * LINE + 2.0 * PADDING
}

/// Lays out the paragraphs below the title. Returns them with the height in points at which the
/// table begins.
fn said_below(below: &[String], width: f64) -> (Option<Block>, f64) {
    let mut y = MARGIN + 30.0;
    let lines = below
        .iter()
        .flat_map(|text| wrapped(text, Face::Regular, width));
    let ink: Vec<Ink> = lines
        .map(|line| {
            let said = words(&line, MARGIN, y + TEXT, TEXT, Face::Regular);
            y += LINE;
            said
        })
        .collect();
    if ink.is_empty() {
        return (None, y);
    }
    let block = Block {
        role: TagRole::Paragraph,
        ink,
        rows: Vec::new(),
    };
    (Some(block), y + PADDING)
}

/// The class as a booklet on A4. Below its title each homework has a line with its last day, the
/// number of students who answered, and the names of those who did not.
pub(super) fn booklet(title: &str, below: &[String], rows: &[Row]) -> Booklet {
    let size = Paper::A4.size();
    let (said, y) = said_below(below, size.0 - 2.0 * MARGIN);
    let title = if title.is_empty() { "Homework" } else { title };
    let mut table = Table {
        pages: vec![SheetPage {
            blocks: vec![Block {
                role: TagRole::Heading(1, title.to_owned()),
                ink: vec![words(title, MARGIN, MARGIN + 16.0, 16.0, Face::Bold)],
                rows: Vec::new(),
            }]
            .into_iter()
            .chain(said)
            .collect(),
        }],
        rules: Vec::new(),
        rows: Vec::new(),
        y,
        size,
        summary: format!("{title}: how each student's drills stand"),
    };
    table.head();
    let mut by_student: Vec<&Row> = rows.iter().collect();
    by_student.sort_by_cached_key(|row| (row.who().to_lowercase(), row.file.clone()));
    for (place, row) in by_student.iter().enumerate() {
        let same = |other: Option<&&Row>| {
            other.is_some_and(|other| (other.who(), &other.file) == (row.who(), &row.file))
        };
        let before = place
            .checked_sub(1)
            .and_then(|before| by_student.get(before));
        // at the top of a page the student's name is repeated
        let named = !same(before) || table.rows.len() <= 1;
        let thick = if same(by_student.get(place + 1)) {
            THIN
        } else {
            THICK
        };
        let face = if row.stuck { Face::Bold } else { Face::Regular };
        let mut texts = texts(row);
        if !named {
            texts[0].clear();
        }
        let columns: Vec<Vec<String>> = texts
            .iter()
            .zip(COLUMNS)
            .map(|(paragraphs, (_, share))| {
                let width = share * table.inner() - 2.0 * PADDING;
                let lines = paragraphs
                    .iter()
                    .flat_map(|text| wrapped(text, face, width));
                lines.collect()
            })
            .collect();
        // a row that is longer than a page is cut at the bottom and continued on the next page
        let mut rest = columns;
        loop {
            let room = table.bottom() - table.y - 2.0 * PADDING;
            let fit = (room / LINE).floor().max(0.0) as usize;
            let whole = rest.iter().map(Vec::len).max().unwrap_or(0);
            let fresh = table.rows.len() <= 1;
            if whole <= fit {
                table.row(&rest, face, false, thick);
                break;
            }
            if fresh && fit > 0 {
                let (now, later): (Vec<_>, Vec<_>) = rest
                    .iter()
                    .map(|lines| {
                        let (now, later) = lines.split_at(fit.min(lines.len()));
                        (now.to_vec(), later.to_vec())
                    })
                    .unzip();
                table.row(&now, face, false, THIN);
                rest = later;
            }
            table.end_page();
            table.pages.push(SheetPage::default());
            table.y = MARGIN;
            table.head();
        }
    }
    table.end_page();
    Booklet {
        title: title.to_owned(),
        paper: Paper::A4,
        pages: table.pages,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::homework::{HomeworkQuestion, Report, ReportedDrill, rows};
    use crate::sheet::write_pdf;
    use jiff::civil::date;

    fn report(name: &str, question: &str) -> (String, Report) {
        let report = Report {
            report: 1,
            title: "week 3".to_owned(),
            homework: None,
            from: Some(name.to_owned()),
            made: date(2027, 1, 10),
            by: None,
            drills: vec![ReportedDrill {
                drill: "birl".to_owned(),
                reach: "real time at 66".to_owned(),
                reached: None,
                at: Some("full beats at 50".to_owned()),
                since: Some(date(2027, 1, 1)),
                days: Vec::new(),
                faults: Vec::new(),
            }],
            questions: vec![HomeworkQuestion {
                day: None,
                about: None,
                text: question.to_owned(),
            }],
            takes: Vec::new(),
        };
        (format!("{name}.yaml"), report)
    }

    fn inks(page: &SheetPage) -> impl Iterator<Item = &Ink> {
        page.blocks.iter().flat_map(|block| {
            block
                .ink
                .iter()
                .chain(block.rows.iter().flatten().flat_map(|cell| &cell.ink))
        })
    }

    /// A teacher looks up a student by name, so all rows of one student are together.
    #[test]
    fn the_class_stands_by_student() {
        let mut two = report("Una", "how hard?");
        two.1.drills.push(ReportedDrill {
            drill: "grip".to_owned(),
            at: None,
            ..two.1.drills[0].clone()
        });
        let class = [report("Zelda", "why?"), two];
        let booklet = booklet("week 3", &[], &rows(&class, &["Ann".to_owned()]));
        let texts: Vec<&str> = inks(&booklet.pages[0])
            .filter_map(|ink| match ink {
                Ink::Text { text, .. } => Some(text.as_str()),
                Ink::Glyph { .. } | Ink::Fill(_) => None,
            })
            .collect();
        let place = |wanted: &str| texts.iter().position(|text| *text == wanted);
        assert_eq!(texts[0], "week 3");
        assert!(place("Ann") < place("Una") && place("Una") < place("Zelda"));
        assert_eq!(texts.iter().filter(|text| **text == "Una").count(), 1);
    }

    /// The table needs several pages here, with one question longer than a page and one word wider
    /// than its column. All of it must be printed within the margins.
    #[test]
    fn everything_stands_within_the_margins() {
        let endless = format!("{} ", "why".repeat(60)).repeat(60);
        let mut class: Vec<(String, Report)> = (0..60)
            .map(|at| report(&format!("player {at}"), "how hard?"))
            .collect();
        class.push(report("someone with a question", &endless));
        let booklet = booklet("week 3", &[], &rows(&class, &["nobody".to_owned()]));
        assert!(booklet.pages.len() > 2, "{} pages", booklet.pages.len());
        let (width, height) = booklet.paper.size();
        let mut letters = 0;
        for page in &booklet.pages {
            for ink in inks(page) {
                if let Ink::Text {
                    text,
                    x,
                    y,
                    size,
                    face,
                } = ink
                {
                    letters += text.matches("why").count();
                    assert!(
                        *x >= MARGIN - 0.1 && x + face.width(text, *size) <= width - MARGIN + 0.1,
                        "{text}"
                    );
                    assert!(*y <= height - MARGIN + 0.1 && *y > MARGIN, "{text} at {y}");
                }
            }
        }
        assert!(letters > 3000, "{letters} of 3600 whole words");
        let pdf = write_pdf(&booklet).expect("the validator is content");
        assert!(pdf.starts_with(b"%PDF"));
    }
}
