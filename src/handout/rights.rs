//! What the year of a recording means for its protection: the rule and its date, never a promise.
//!
//! Not legal advice. Only the recording's own protection is spoken of; composition, arrangement, performers and a new
//! transfer may have rights of their own, and the text says so. No current date is read: the rule names the date.

/// A body of law whose rule for recordings is stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// United States: Music Modernization Act 2018, title II; Copyright Act from 15 February 1972.
    UnitedStates,
    /// European Union and United Kingdom: Directive 2011/77/EU; UK regulations 2013.
    Europe,
}

impl Law {
    /// Its name in a sentence.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::UnitedStates => "United States",
            Self::Europe => "European Union and United Kingdom",
        }
    }
}

/// The rule for a recording first published in `year`, one sentence; says when it cannot be said.
///
/// Sources: Music Modernization Act 2018, title II (17 U.S.C. 1401): before 1923 free from 2022-01-01; 1923 to 1946,
/// 100 years after publication; 1947 to 1956, 110 years; 1957 to 14 February 1972, until 2067-02-15; later, Copyright
/// Act: 95 years from publication or 120 from creation. Directive 2011/77/EU: 70 years from publication if still
/// protected on 2013-11-01; what was published before 1963 stayed free.
#[must_use]
pub fn rule_for(year: Option<u16>, law: Law) -> String {
    let Some(year) = year else {
        return format!("{}: cannot say, because no year of first publication was given.", law.name());
    };
    let from = |years: u32| format!("1 January {}", u32::from(year) + years + 1);
    let rule = match law {
        Law::UnitedStates => match year {
            0..1923 => "recordings published before 1923 have been in the public domain since 1 January 2022".into(),
            1923..=1946 => format!(
                "recordings published from 1923 to 1946 are protected for 100 years, one of {year} until {}",
                from(100)
            ),
            1947..=1956 => format!(
                "recordings published from 1947 to 1956 are protected for 110 years, one of {year} until {}",
                from(110)
            ),
            1957..=1971 => "recordings published from 1957 to 14 February 1972 are protected until 15 February 2067".into(),
            1972 => "recordings published before 15 February 1972 are protected until 15 February 2067, later ones for \
                     95 years from publication or 120 from creation, whichever ends first"
                .into(),
            _ => "recordings made from 15 February 1972 on are protected for 95 years from publication or 120 from \
                  creation, whichever ends first"
                .into(),
        },
        Law::Europe if year < 1963 => {
            "recordings published before 1963 were free before the term was lengthened, and stayed so".into()
        }
        Law::Europe => {
            format!("recordings are protected for 70 years from publication, one of {year} until {}", from(70))
        }
    };
    format!("{}: {rule}; check locally.", law.name())
}

/// The rights note of every hand-out, a sentence or two each: what the year says, and what it does not say.
#[must_use]
pub(super) fn note(year: Option<u16>) -> Vec<String> {
    let given = match year {
        Some(year) => format!("Year of first publication as entered by the teacher: {year}."),
        None => "No year of first publication was entered.".into(),
    };
    vec![
        given,
        rule_for(year, Law::UnitedStates),
        rule_for(year, Law::Europe),
        "This is about the recording only. The composition, an arrangement or translation, the performers and a new \
         transfer or restoration may be protected on their own. Playing, streaming and recording a lesson follow other \
         rules, which differ by country and school. This is no legal advice: check locally."
            .into(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published boundaries: recordings of 1925 are free in the United States from 2026-01-01, of 1926 from
    /// 2027-01-01, of 1946 from 2047-01-01 (Music Modernization Act 2018).
    #[test]
    fn the_united_states_count_a_hundred_years_from_1923_to_1946() {
        let rule = |year| rule_for(Some(year), Law::UnitedStates);
        assert!(rule(1925).ends_with("one of 1925 until 1 January 2026; check locally."));
        assert!(rule(1926).ends_with("one of 1926 until 1 January 2027; check locally."));
        assert!(rule(1946).ends_with("one of 1946 until 1 January 2047; check locally."));
        assert!(rule(1922).contains("since 1 January 2022"));
        assert!(rule(1947).contains("one of 1947 until 1 January 2058"));
        assert!(rule(1971).contains("15 February 2067"));
        assert!(rule(1972).contains("15 February 2067") && rule(1972).contains("95 years"));
        assert!(rule(1999).contains("95 years"));
    }

    /// Published boundary: recordings published in 1962 or earlier stayed free (Directive 2011/77/EU).
    #[test]
    fn europe_draws_its_line_at_1963() {
        assert!(rule_for(Some(1962), Law::Europe).contains("stayed so"));
        assert!(rule_for(Some(1963), Law::Europe).contains("until 1 January 2034"));
    }

    #[test]
    fn an_unknown_year_says_nothing_and_nothing_is_ever_called_safe() {
        assert!(rule_for(None, Law::Europe).contains("cannot say"));
        for year in (1890..2030).map(Some).chain([None]) {
            let note = note(year).join(" ");
            assert!(!note.contains("safe") && note.contains("check locally"), "{note}");
        }
    }
}
