"""Golden crossings of the loop response: lines in noise that no answer to the test signal gives."""

from __future__ import annotations

from gainwright.detector.loop_response import ONE, Lines
from gainwright.detector.response_settings import ResponseSettings
from gainwright_codegen.bundle.golden.sample import CHECKSUM_START, added
from gainwright_codegen.bundle.golden.selftest_c import SelfTestPart
from gainwright_codegen.c_text import comment, filled

_LOOKS = (
    (1015, 968, -9), (1016, 968, -9), (1016, 970, -9), (1016, -968, -9), (1016, -970, -9),
    (1016, 968, 9),
)  # fmt: skip
"""Noise, Q16; how far the outer two of four lines lie above the inner two, and the imaginary part
of the first, Q12. Noise, and the way to the mean, are just enough, too little or too much."""
_INNER, _IM = 8000, 3
_LINES_BEFORE = 5


def crossings_part(settings: ResponseSettings, machine: str) -> SelfTestPart:
    """Return the self-test of where a crossing lies in noise, with the settings of a stage."""
    text = comment(
        "Loop response: crossings between two of four lines in noise, by those two or by means. "
        "The checksum is over the crossings, from a model in Python."
    )
    rows = ",\n".join(f"    {{{', '.join(map(str, row))}}}" for row in _LOOKS)
    source = filled(
        _RUN,
        LOOKS=len(_LOOKS),
        ROWS=rows,
        INNER=_INNER,
        IM=_IM,
        BEFORE=_LINES_BEFORE,
        MACHINE=machine,
        SUM=f"0x{_checksum(settings):08x}U",
    )
    headers = ("gw_loop_crossings.h", f"{machine}.h")
    return SelfTestPart(headers, text + "\n" + source, "run_crossings")


def _checksum(settings: ResponseSettings) -> int:
    checksum = CHECKSUM_START
    for share, above, im in _LOOKS:
        outer = _INNER + above
        lines = Lines(last=[(_INNER, _IM), (_INNER, -_IM), (outer, im)])
        lines.noise[0], lines.noise_lines[0] = share * share, 1
        lines.take(settings, settings.first_line + _LINES_BEFORE, (outer - ONE, abs(im)))
        checksum = added(checksum, lines.crossings[0])
    return checksum


_RUN = """\
static const int16_t golden_looks[@LOOKS@][3] = {
@ROWS@
};

static uint32_t look(uint32_t checksum, const int16_t golden[3])
{
    const gw_response_settings *settings = &@MACHINE@.stage[0].response;
    gw_loop_response *response = &subject.response;
    const int32_t outer = @INNER@ + golden[1];
    const int32_t im = golden[2];

    gw_crossings_begin(response);
    response->noise[0] = gw_product_i64(golden[0], golden[0]);
    response->noise_lines[0] = 1;
    response->last_re[0] = @INNER@;
    response->last_im[0] = @IM@;
    response->last_re[1] = @INNER@;
    response->last_im[1] = -@IM@;
    response->last_re[2] = outer;
    response->last_im[2] = im;
    gw_crossings_look(response, settings, settings->first_line + @BEFORE@, outer,
                      gw_absolute_i32(im));
    checksum = checksum_add(checksum, (uint32_t)response->crossing[0]);
    checksum = checksum_add(checksum, (uint32_t)response->crossing_line[0]);
    return checksum_add(checksum, (uint32_t)response->crossing_noise[0]);
}

static uint32_t run_crossings(void)
{
    uint32_t checksum = CHECKSUM_START;
    uint32_t k;

    gw_axis_init(&subject, &@MACHINE@);
    for (k = 0U; k < @LOOKS@U; k++) {
        checksum = look(checksum, golden_looks[k]);
    }
    return report((checksum == @SUM@) ? 1U : 0U, "loop response, crossings", k);
}
"""
