//! Calibrating electrodes and cells.

use fillmark_advice::solution::cell::{constant_per_cm, deviation_percent};
use fillmark_advice::solution::electrode::{
    Buffer, BufferReading, Electrode, SLOPE_GOOD_PERCENT, nernst_slope_mv,
};

use super::{Answer, Computed, Inputs, Unfit};

pub(super) fn compute(quantity: &str, inputs: &Inputs) -> Option<Answer> {
    let answer = match quantity {
        "nernst_slope" => inputs.number("temperature_C").map(nernst_slope_mv),
        "buffer_ph" => buffer(inputs),
        "electrode_slope_percent" => calibrated(inputs).map(|electrode| electrode.slope_percent),
        "electrode_slope_mV" => calibrated(inputs).map(|electrode| electrode.slope_mv),
        "electrode_offset" | "electrode_offset_mV" => calibrated(inputs).map(|electrode| electrode.offset_mv),
        // What is good when new or in use for long is the maker's to say.
        "electrode_slope_accept" if matches!(inputs.text("stage"), Ok("general")) => {
            let (low, high) = SLOPE_GOOD_PERCENT;
            return Some(Ok(Computed::Range(low, high)));
        }
        "ph_from_mV" => read(inputs),
        "cell_constant" => cell(inputs),
        "reading_deviation" => deviation(inputs),
        _ => return None,
    };
    Some(answer.map(Into::into))
}

fn buffer(inputs: &Inputs) -> Result<f64, Unfit> {
    let buffer = match inputs.text("buffer")? {
        "tetroxalate 0.05 m" | "oxalate 0.05 m" | "potassium tetroxalate 0.05 m" => Buffer::Tetroxalate,
        "phthalate 0.05 m" => Buffer::Phthalate,
        "equimolal phosphate" => Buffer::Phosphate,
        "borax 0.01 m" => Buffer::Borax,
        "carbonate 0.025 m" | "equimolal carbonate" => Buffer::Carbonate,
        "technical 4.00" => Buffer::Technical4,
        "technical 7.00" => Buffer::Technical7,
        "technical 10.01" => Buffer::Technical10,
        _ => return Err(Unfit::Unreadable("buffer".to_owned())),
    };
    let temperature_c = inputs.number("temperature_C")?;
    buffer.ph(temperature_c).ok_or_else(|| Unfit::refused("the buffer is not known at that temperature"))
}

fn calibrated(inputs: &Inputs) -> Result<Electrode, Unfit> {
    let at = |ph, mv| Ok(BufferReading { ph: inputs.number(ph)?, mv: inputs.number(mv)? });
    let (first, second) = (at("buffer1_ph", "mV1")?, at("buffer2_ph", "mV2")?);
    Electrode::calibrated(first, second, inputs.number_or("temperature_C", 25.0)?).map_err(Unfit::refused)
}

fn read(inputs: &Inputs) -> Result<f64, Unfit> {
    let buffer = BufferReading { ph: inputs.number("buffer_ph")?, mv: inputs.number("buffer_mV")? };
    let temperature_c = inputs.number_or("temperature_C", 25.0)?;
    let slope_mv = inputs.number_or("slope_mV_per_pH", nernst_slope_mv(temperature_c))?;
    Ok(Electrode::through(buffer, slope_mv, temperature_c).ph(inputs.number("mV")?))
}

fn cell(inputs: &Inputs) -> Result<f64, Unfit> {
    let (standard, conductance) = (inputs.number("kcl_molality")?, inputs.number("conductance_uS")?);
    constant_per_cm(standard, inputs.number("temperature_C")?, conductance).map_err(Unfit::refused)
}

fn deviation(inputs: &Inputs) -> Result<f64, Unfit> {
    Ok(deviation_percent(inputs.number("reading_mS_cm")?, inputs.number("standard_mS_cm")?))
}
