//! XML to a small tree with line numbers, bounded in depth.
//!
//! By hand, because roxmltree 0.21 compares each attribute of an element with every other one: a
//! mebibyte of them takes it 18 s, namespaces 5 s, and what a file declares as entities it expands
//! without a bound. This takes 200 ms at most for a mebibyte of anything (bench `worst`).

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// The deepest nesting that is read; a score needs ten.
const DEEPEST: usize = 64;

/// An element.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Element {
    pub(super) name: String,
    pub(super) attributes: Vec<(String, String)>,
    pub(super) children: Vec<Element>,
    pub(super) text: String,
    pub(super) line: usize,
}

impl Element {
    /// The first child of a name.
    pub(super) fn child(&self, name: &str) -> Option<&Self> {
        self.children.iter().find(|child| child.name == name)
    }

    /// All children of a name.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Self> {
        self.children.iter().filter(move |child| child.name == name)
    }

    /// The text of the first child of a name.
    pub(super) fn text_of(&self, name: &str) -> Option<&str> {
        self.child(name).map(|child| child.text.trim())
    }

    /// An attribute.
    pub(super) fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes
            .iter()
            .find(|(own, _)| own == name)
            .map(|(_, value)| value.as_str())
    }
}

/// The root element, or the line and what is wrong there.
pub(super) fn read_tree(source: &str) -> Result<Element, (usize, String)> {
    let mut reader = Reader::from_str(source);
    let mut open: Vec<Element> = Vec::new();
    let (mut at, mut line) = (0, 1);
    loop {
        let position = usize::try_from(reader.buffer_position()).unwrap_or(at);
        line += source
            .as_bytes()
            .get(at..position)
            .map_or(0, |bytes| bytes.split(|byte| *byte == b'\n').count() - 1);
        at = position.max(at);
        let event = reader
            .read_event()
            .map_err(|error| (line, error.to_string()))?;
        match event {
            Event::Start(start) => {
                if open.len() >= DEEPEST {
                    return Err((line, format!("elements nested more than {DEEPEST} deep")));
                }
                open.push(element(&start, line)?);
            }
            Event::Empty(start) => {
                let element = element(&start, line)?;
                match open.last_mut() {
                    Some(parent) => parent.children.push(element),
                    None => return Ok(element),
                }
            }
            Event::End(_) => {
                let Some(done) = open.pop() else {
                    return Err((line, "an end without a start".to_owned()));
                };
                match open.last_mut() {
                    Some(parent) => parent.children.push(done),
                    None => return Ok(done),
                }
            }
            Event::Text(text) => {
                if let Some(parent) = open.last_mut() {
                    parent.text.push_str(&text);
                }
            }
            Event::CData(text) => {
                if let Some(parent) = open.last_mut() {
                    parent.text.push_str(&text);
                }
            }
            Event::GeneralRef(name) => {
                let name = name.to_string();
                if let Some(parent) = open.last_mut() {
                    match quick_xml::escape::unescape(&format!("&{name};")) {
                        Ok(text) => parent.text.push_str(&text),
                        Err(error) => return Err((line, error.to_string())),
                    }
                }
            }
            Event::Eof => return Err((line, "the file ends before its last element".to_owned())),
            Event::Decl(_) | Event::PI(_) | Event::DocType(_) | Event::Comment(_) => {}
        }
    }
}

fn element(start: &BytesStart, line: usize) -> Result<Element, (usize, String)> {
    let mut attributes = Vec::new();
    // whether one stands twice is nothing that a score depends on, and looking takes long
    for attribute in start.attributes().with_checks(false) {
        let attribute = attribute.map_err(|error| (line, error.to_string()))?;
        let raw = &attribute.value;
        let value = quick_xml::escape::unescape(raw)
            .map_err(|error| (line, error.to_string()))?
            .into_owned();
        let name = attribute.key.as_ref().to_owned();
        attributes.push((name, value));
    }
    Ok(Element {
        name: start.name().as_ref().to_owned(),
        attributes,
        line,
        ..Element::default()
    })
}
