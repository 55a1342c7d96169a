//! Elements and text through quick-xml: what is opened is closed, and text is escaped.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// Attributes of an element.
type Attributes<'a> = &'a [(&'a str, &'a str)];

/// A document that is being written.
pub(super) struct Xml(Writer<Vec<u8>>);

impl Xml {
    /// The declaration and the document type that MusicXML 4.0 begins with.
    pub(super) fn new() -> Self {
        let mut xml = Self(Writer::new(Vec::new()));
        xml.put(Event::Decl(BytesDecl::new(
            "1.0",
            Some("UTF-8"),
            Some("no"),
        )));
        xml.line();
        xml.put(Event::DocType(BytesText::from_escaped(
            "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \"partwise.dtd\"",
        )));
        xml.line();
        xml
    }

    /// Its bytes.
    pub(super) fn finish(self) -> Vec<u8> {
        self.0.into_inner()
    }

    fn put(&mut self, event: Event) {
        self.0
            .write_event(event)
            .unwrap_or_else(|error| unreachable!("a vector takes everything: {error}"));
    }

    /// A new line, which means nothing and is read by people.
    pub(super) fn line(&mut self) {
        self.0.get_mut().push(b'\n');
    }

    /// An element with what `inside` writes.
    pub(super) fn within(
        &mut self,
        name: &str,
        attributes: Attributes,
        inside: impl FnOnce(&mut Self),
    ) {
        let start = BytesStart::new(name).with_attributes(attributes.iter().copied());
        self.put(Event::Start(start));
        inside(self);
        self.put(Event::End(BytesEnd::new(name)));
    }

    /// An element with attributes around a text.
    pub(super) fn text_with(&mut self, name: &str, attributes: Attributes, text: &str) {
        self.within(name, attributes, |xml| {
            xml.put(Event::Text(BytesText::new(text)));
        });
    }

    /// An element around a text.
    pub(super) fn text(&mut self, name: &str, text: &str) {
        self.text_with(name, &[], text);
    }

    /// An element with nothing inside.
    pub(super) fn empty(&mut self, name: &str, attributes: Attributes) {
        let start = BytesStart::new(name).with_attributes(attributes.iter().copied());
        self.put(Event::Empty(start));
    }
}
