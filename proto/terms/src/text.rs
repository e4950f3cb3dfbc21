//! Free text: what in it would act on whoever looks at it.

/// True for a character that steers a terminal or hides or reorders what stands
/// beside it: C0, DEL and C1 controls, line and paragraph separators, marks
/// that turn the direction of writing, invisible ones and tags.
///
/// The one list of them: what is printed, put into a page, escaped in JSON or
/// written to the trace goes by it. Joiners stay, which letters and pictures need.
pub fn steers(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            '\u{61c}'
                | '\u{180e}'
                | '\u{200b}'
                | '\u{200e}'
                | '\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{feff}'
                | '\u{fff9}'..='\u{fffb}'
                | '\u{e0000}'..='\u{e007f}'
        )
}
