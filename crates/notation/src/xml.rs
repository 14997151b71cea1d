//! Elements, one after the other, through a writer that escapes and closes them.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// A document that grows. It is written into memory, which never fails.
pub(crate) struct Xml {
    writer: Writer<Vec<u8>>,
    open: Vec<&'static str>,
}

/// What XML 1.0 (section 2.2) can hold: a damaged name must not make a file that nobody opens.
fn legal(text: &str) -> String {
    let fits = |c: char| matches!(c, '\t' | '\n' | '\r' | ' '..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..);
    text.chars().filter(|c| fits(*c)).collect()
}

impl Xml {
    /// Begins with the declaration and the document type, which readers of all versions know.
    pub fn new() -> Self {
        let mut xml = Self { writer: Writer::new_with_indent(Vec::new(), b' ', 1), open: Vec::new() };
        xml.event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), Some("no"))));
        let kind = "score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
                    \"http://www.musicxml.org/dtds/partwise.dtd\"";
        xml.event(Event::DocType(BytesText::from_escaped(kind)));
        xml
    }

    fn event(&mut self, event: Event<'_>) {
        // Into a Vec: there is no error to meet.
        let _ = self.writer.write_event(event);
    }

    fn start(name: &'static str, attributes: &[(&str, &str)]) -> BytesStart<'static> {
        let mut start = BytesStart::new(name);
        for (key, value) in attributes {
            start.push_attribute((*key, legal(value).as_str()));
        }
        start
    }

    /// Opens an element.
    pub fn open(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.event(Event::Start(Self::start(name, attributes)));
        self.open.push(name);
    }

    /// Closes the one opened last.
    pub fn close(&mut self) {
        if let Some(name) = self.open.pop() {
            self.event(Event::End(BytesEnd::new(name)));
        }
    }

    /// An element without content.
    pub fn empty(&mut self, name: &'static str, attributes: &[(&str, &str)]) {
        self.event(Event::Empty(Self::start(name, attributes)));
    }

    /// An element with text.
    pub fn text(&mut self, name: &'static str, text: impl ToString) {
        self.text_with(name, &[], text);
    }

    /// An element with attributes and text.
    pub fn text_with(&mut self, name: &'static str, attributes: &[(&str, &str)], text: impl ToString) {
        self.event(Event::Start(Self::start(name, attributes)));
        self.event(Event::Text(BytesText::new(&legal(&text.to_string()))));
        self.event(Event::End(BytesEnd::new(name)));
    }

    /// The whole document, everything closed.
    pub fn done(mut self) -> String {
        while !self.open.is_empty() {
            self.close();
        }
        let mut bytes = self.writer.into_inner();
        bytes.push(b'\n');
        String::from_utf8_lossy(&bytes).into_owned()
    }
}
