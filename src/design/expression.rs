//! Uncertain values as people write them: from text to a distribution in SI.
//!
//! | form | written as |
//! |---|---|
//! | certain | `16 g` |
//! | normal | `normal 16.0 g sd 0.25 g`, limited by `within 15 g .. 17 g` |
//! | uniform | `uniform 30 ms .. 120 ms` |
//! | triangular, PERT | `triangle 1 mm2 .. 2 mm2 .. 6 mm2`, `pert 1 mm2 .. 2 mm2 .. 6 mm2` |
//! | lognormal | `lognormal 1.2 mm2 factor 1.6` |
//! | beta | `beta 0.6 .. 0.9 shape 2 5` |
//! | Weibull | `weibull scale 40 N shape 12`, shifted by `above 20 N` |
//! | measured | `sample 61 N, 64 N, 58 N` |
//! | choice | `choice 1 mm2: 60 %, 2 mm2: 40 %` |
//! | shared | `$soak`, `$soak + 5 K`, `$soak - uniform 0 K .. 3 K` |

use crate::statistics::Distribution;
use crate::units::{self, Dimension, PressureReference, Quantity};

use super::error::Problem;

/// A value as written, understood: a shared draw, a part of its own, or the sum of both.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Expression {
    /// Name of the shared draw it starts with.
    pub shared: Option<String>,
    /// Its own part.
    pub own: Own,
    /// For pressures, what it is measured from.
    pub reference: PressureReference,
}

/// The part of a value that belongs to this field alone.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Own {
    Fixed(f64),
    Uncertain(Distribution),
}

impl Expression {
    /// The central value of its own part.
    pub fn central(&self) -> f64 {
        match &self.own {
            Own::Fixed(value) => *value,
            Own::Uncertain(distribution) => distribution.central(),
        }
    }
}

/// The form that may be cut off at limits.
const NORMAL: &str = "normal";
/// First words and patterns of the forms.
const FORMS: [(&str, &str); 9] = [
    (NORMAL, "normal MEAN sd SPREAD [within LOW .. HIGH]"),
    ("uniform", "uniform LOW .. HIGH"),
    ("triangle", "triangle LOW .. LIKELIEST .. HIGH"),
    ("pert", "pert LOW .. LIKELIEST .. HIGH"),
    ("lognormal", "lognormal MEDIAN factor NUMBER"),
    ("beta", "beta LOW .. HIGH shape NUMBER NUMBER"),
    ("weibull", "weibull scale VALUE shape NUMBER [above VALUE]"),
    ("sample", "sample VALUE, VALUE, ..."),
    ("choice", "choice VALUE: SHARE %, VALUE: SHARE %"),
];

/// Understands a value of a given dimension.
pub(super) fn parse(text: &str, dimension: Dimension) -> Result<Expression, Problem> {
    let trimmed = text.trim();
    let Some(named) = trimmed.strip_prefix('$') else {
        return parse_own(trimmed, dimension);
    };
    let end = named
        .find(|c: char| !(c.is_alphanumeric() || matches!(c, '_')))
        .unwrap_or(named.len());
    let (name, rest) = named.split_at(end);
    let rest = rest.trim();
    let shared = Some(name.to_owned());
    let difference = dimension.difference();
    let reference = PressureReference::Unstated;
    let own = if rest.is_empty() {
        Own::Fixed(0.0)
    } else if let Some(plus) = rest.strip_prefix('+') {
        parse_own(plus.trim(), difference)?.own
    } else if let Some(minus) = rest.strip_prefix(['-', '\u{2212}']) {
        match parse_own(minus.trim(), difference)?.own {
            Own::Fixed(value) => Own::Fixed(-value),
            Own::Uncertain(distribution) => {
                let turned = distribution
                    .scale(-1.0)
                    .map_err(|error| refuse(text, error))?;
                Own::Uncertain(turned)
            }
        }
    } else {
        return Err(Problem::Form {
            text: trimmed.to_owned(),
            form: "shared",
            pattern: "$name, $name + VALUE or $name - VALUE",
        });
    };
    Ok(Expression {
        shared,
        own,
        reference,
    })
}

fn refuse(text: &str, reason: impl std::fmt::Display) -> Problem {
    Problem::Distribution {
        text: text.to_owned(),
        reason: reason.to_string(),
    }
}

fn parse_own(text: &str, dimension: Dimension) -> Result<Expression, Problem> {
    let first = text
        .split(|c: char| c.is_whitespace())
        .next()
        .unwrap_or_default();
    let starts_a_form = first.starts_with(|c: char| c.is_alphabetic());
    let unbounded = ["inf", "nan"]
        .iter()
        .any(|word| first.to_lowercase().starts_with(word));
    if !starts_a_form || unbounded {
        if let Some((before, after)) = text
            .split_once(['\u{b1}'])
            .or_else(|| text.split_once("+-"))
        {
            let (mean, spread) = (before.trim(), after.trim());
            return Err(refuse(
                text,
                format!(
                    "a tolerance may mean several things: write \"normal {mean} sd {spread}\" or \
                     \"uniform LOW .. HIGH\""
                ),
            ));
        }
        if text.contains("..") {
            return Err(refuse(
                text,
                format!("a range needs its form: \"uniform {text}\""),
            ));
        }
        let quantity = units::parse(text, dimension)?;
        return Ok(Expression {
            shared: None,
            own: Own::Fixed(quantity.value),
            reference: quantity.reference,
        });
    }
    let Some((form, pattern)) = FORMS.iter().find(|(word, _)| *word == first) else {
        // A word may also be a value without its number, such as "g".
        let known = FORMS
            .iter()
            .map(|(word, _)| (*word).to_owned())
            .collect::<Vec<_>>();
        return Err(match super::error::nearest(first, &known) {
            Some(_) => Problem::UnknownWord {
                found: first.to_owned(),
                known,
            },
            None => units::parse(text, dimension).err().map_or(
                Problem::UnknownWord {
                    found: first.to_owned(),
                    known,
                },
                Problem::Quantity,
            ),
        });
    };
    let mut writing = Writing {
        text,
        form,
        pattern,
        dimension,
        reference: None,
    };
    let body = text.get(form.len()..).unwrap_or_default().trim();
    let distribution = writing.distribution(body)?;
    distribution
        .validate()
        .map_err(|error| refuse(text, error))?;
    Ok(Expression {
        shared: None,
        own: Own::Uncertain(distribution),
        reference: writing.reference.unwrap_or(PressureReference::Unstated),
    })
}

/// One uncertain value being read.
struct Writing<'t> {
    text: &'t str,
    form: &'static str,
    pattern: &'static str,
    dimension: Dimension,
    reference: Option<PressureReference>,
}

impl Writing<'_> {
    fn distribution(&mut self, body: &str) -> Result<Distribution, Problem> {
        if self.form != NORMAL && split_word(body, "within").is_some() {
            return Err(refuse(
                self.text,
                "only a `normal` is cut off by `within`: write \"normal MEAN sd SPREAD within LOW .. HIGH\", \
                 or another spread without it",
            ));
        }
        match self.form {
            NORMAL => self.normal(body),
            "uniform" => {
                let [low, high] = self.range(body)?;
                Ok(Distribution::Uniform { low, high })
            }
            "triangle" => {
                let [low, mode, high] = self.range(body)?;
                Ok(Distribution::Triangular { low, mode, high })
            }
            "pert" => {
                let [low, mode, high] = self.range(body)?;
                Ok(Distribution::Pert { low, mode, high })
            }
            "lognormal" => {
                if self.dimension == Dimension::Temperature {
                    return Err(refuse(
                        self.text,
                        "a temperature has no meaningful factor: use \"normal\" or \"uniform\"",
                    ));
                }
                let (median, factor) = self.split(body, "factor")?;
                let median = self.value(median)?;
                let factor = units::parse_number(factor)?;
                Ok(Distribution::Lognormal { median, factor })
            }
            "beta" => {
                let (range, shapes) = self.split(body, "shape")?;
                let [low, high] = self.range(range)?;
                let mut numbers = shapes
                    .split(|c: char| c.is_whitespace() || c == ',')
                    .filter(|s| !s.is_empty());
                let (Some(alpha), Some(beta), None) =
                    (numbers.next(), numbers.next(), numbers.next())
                else {
                    return Err(self.incomplete());
                };
                let alpha = units::parse_number(alpha)?;
                let beta = units::parse_number(beta)?;
                Ok(Distribution::Beta {
                    low,
                    high,
                    alpha,
                    beta,
                })
            }
            "weibull" => {
                let body = body
                    .strip_prefix("scale")
                    .ok_or_else(|| self.incomplete())?;
                let (scale, rest) = self.split(body, "shape")?;
                let (shape, above) = match split_word(rest, "above") {
                    Some((shape, above)) => (shape, Some(above)),
                    None => (rest, None),
                };
                let scale = self.spread(scale)?;
                let shape = units::parse_number(shape)?;
                let location = match above {
                    Some(above) => self.value(above)?,
                    None if self.dimension.has_natural_zero() => 0.0,
                    None => {
                        return Err(refuse(
                            self.text,
                            "this quantity has no zero of its own: say what the scale is above, with `above VALUE` at the end",
                        ));
                    }
                };
                Ok(Distribution::Weibull {
                    location,
                    scale,
                    shape,
                })
            }
            "sample" => {
                let values = body
                    .split(',')
                    .map(|item| self.value(item))
                    .collect::<Result<_, _>>()?;
                Ok(Distribution::Empirical { values })
            }
            _ => {
                let choices = split_choices(body).ok_or_else(|| self.incomplete())?;
                let weights = read_shares(self.text, &choices)?;
                let values = choices
                    .iter()
                    .map(|(value, _)| self.value(value))
                    .collect::<Result<_, _>>()?;
                Ok(Distribution::Discrete { values, weights })
            }
        }
    }

    fn normal(&mut self, body: &str) -> Result<Distribution, Problem> {
        let (parent, limits) = match split_word(body, "within") {
            Some((parent, limits)) => (parent, Some(limits)),
            None => (body, None),
        };
        let (mean, spread) = self.split(parent, "sd")?;
        let mean = self.value(mean)?;
        let relative = spread.ends_with('%') && self.dimension != Dimension::Fraction;
        let standard_deviation = if relative && self.dimension.has_natural_zero() {
            mean.abs() * units::parse(spread, Dimension::Fraction)?.value
        } else {
            self.spread(spread)?
        };
        match limits {
            None => Ok(Distribution::Normal {
                mean,
                standard_deviation,
            }),
            Some(limits) => {
                let [low, high] = self.range(limits)?;
                Ok(Distribution::TruncatedNormal {
                    mean,
                    standard_deviation,
                    low,
                    high,
                })
            }
        }
    }

    fn incomplete(&self) -> Problem {
        Problem::Form {
            text: self.text.to_owned(),
            form: self.form,
            pattern: self.pattern,
        }
    }

    fn split<'b>(&self, body: &'b str, word: &str) -> Result<(&'b str, &'b str), Problem> {
        split_word(body, word).ok_or_else(|| self.incomplete())
    }

    /// Values separated by "..", none smaller than the one before.
    fn range<const N: usize>(&mut self, body: &str) -> Result<[f64; N], Problem> {
        let parts: Vec<&str> = body.split("..").collect();
        if parts.len() != N {
            return Err(self.incomplete());
        }
        let mut values = [0.0; N];
        for (value, part) in values.iter_mut().zip(&parts) {
            *value = self.value(part)?;
        }
        for (pair, written) in values.windows(2).zip(parts.windows(2)) {
            if pair[0] > pair[1] {
                let (from, to) = (written[0].trim(), written[1].trim());
                return Err(refuse(
                    self.text,
                    format!(
                        "the range runs backwards, from {from} to {to}: write the smaller value first"
                    ),
                ));
            }
        }
        Ok(values)
    }

    fn value(&mut self, text: &str) -> Result<f64, Problem> {
        let quantity = units::parse(text, self.dimension)?;
        self.accept(quantity)
    }

    fn spread(&self, text: &str) -> Result<f64, Problem> {
        let quantity = units::parse(text, self.dimension.difference())?;
        self.refuse_inverse(quantity)?;
        Ok(quantity.value)
    }

    fn refuse_inverse(&self, quantity: Quantity) -> Result<(), Problem> {
        if quantity.inverse {
            return Err(refuse(
                self.text,
                "a spread of a rate is not a spread of a time: write it in s/60deg",
            ));
        }
        Ok(())
    }

    fn accept(&mut self, quantity: Quantity) -> Result<f64, Problem> {
        self.refuse_inverse(quantity)?;
        match self.reference {
            Some(earlier) if earlier != quantity.reference => {
                return Err(refuse(self.text, "absolute and gauge pressures are mixed"));
            }
            _ => self.reference = Some(quantity.reference),
        }
        Ok(quantity.value)
    }
}

/// Splits at a word that stands alone.
fn split_word<'b>(body: &'b str, word: &str) -> Option<(&'b str, &'b str)> {
    body.match_indices(word).find_map(|(at, _)| {
        let before = body.get(..at)?;
        let after = body.get(at + word.len()..)?;
        let alone = before.chars().next_back().is_none_or(char::is_whitespace)
            && after.chars().next().is_none_or(char::is_whitespace);
        alone.then(|| (before.trim(), after.trim()))
    })
}

/// "A: 60 %, B: 40 %" as pairs.
pub(super) fn split_choices(body: &str) -> Option<Vec<(&str, &str)>> {
    body.split(',')
        .map(|item| {
            item.rsplit_once(':')
                .map(|(value, share)| (value.trim(), share.trim()))
        })
        .collect()
}

/// The shares of a choice, which must make a whole.
pub(super) fn read_shares(text: &str, choices: &[(&str, &str)]) -> Result<Vec<f64>, Problem> {
    let shares = choices
        .iter()
        .map(|(_, share)| units::parse(share, Dimension::Fraction).map(|share| share.value))
        .collect::<Result<Vec<f64>, _>>()?;
    let whole: f64 = shares.iter().sum();
    if shares.iter().any(|share| *share < 0.0) || (whole - 1.0).abs() > 1e-6 {
        let reason = format!(
            "the shares add up to {}, not 100 %",
            units::format_percent(whole)
        );
        return Err(refuse(text, reason));
    }
    Ok(shares)
}
