//! Why a result could not be put on paper.

/// Why a result could not be put on paper.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReportError {
    /// A picture of a kind that cannot be drawn.
    #[error("a picture is written as .svg or .png, not as `{file}`")]
    UnknownPicture {
        /// Name of the file asked for.
        file: String,
    },
    /// The picture could not be turned into pixels.
    #[error("the picture could not be drawn: {reason}")]
    Drawing {
        /// The drawing library's words.
        reason: String,
    },
    /// A table could not be written.
    #[error("the table could not be written")]
    Table(#[from] ::csv::Error),
    /// A document could not be written.
    #[error("the JSON document could not be written")]
    Json(#[from] serde_json::Error),
}
