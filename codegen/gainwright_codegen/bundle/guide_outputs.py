"""What of ``GUIDE.md`` only some trials need: outputs that ask the drive for more than a move."""

from __future__ import annotations

SHARE_OUTPUT = "cruise_share"
_CRUISE_SHARE = """\
## Cruise speed

The constant part of a move has `cruise_share` / 256 of the cruise speed; a change is followed with
the drive's ordinary acceleration, at any moment. `speed_share` is told as a share of that speed.
The loop response is measured at two speeds in turn: what comes from the turning of the shaft
(encoder, ripple, cogging) has another frequency then, and what only one of them shows is noise."""

STEP_OUTPUT = "position_step"
_POSITION_STEP = """\
## Position step

While `position_step` is 1, add a small step to the position reference, in the direction of the
move. Its height, taken when the output rises: so high that the speed controller's torque jumps by
10 % of its limit (0.1 x torque limit / (Kp x Kv)), but the speed by no more than 20 % of cruise
speed. The speed reference does not step.

Measure, in every control tick, with e = reference (without the step) - position, h = height:

- before the step: m = low-pass of e (20 ms), s = largest |e - m| (forgotten in 0.1 s);
- since the step: w goes from 0 to 1 as 1 - exp(-Kv t), y = (m (1 - w) - e) / h;
- overshoot = largest (y - 1 - s / (2 |h|)); residual = largest (|y - w| - s / (2 |h|)), forgotten
  in 0.1 s;
- swinging = largest |(y - w) h less its own low-pass (20 ms)|, forgotten in 0.1 s. At the end of a
  step of 0.25 s or more with Kv of 10 1/s or more keep the least, but no less than 4 encoder
  counts; `swing_growth` is 128 x swinging / least, 0 until there is one.

Limit each to 511. Numbers are those of the rehearsals (common practice, no source)."""


MARGINS_OUTPUT = "step_number"
_STEP_MARGINS = """\
## Margins from a step

While `step_number` is not negative, the position step is part of a measurement: 0 begins it; 1 and
2 go against the direction of the move, 0 and 3 with it. A step h adds J = Kv h to the speed error
at once; from then on the speed error e is J times the step response of S = 1 / (1 + L), with L
opened at the torque command and all three gains inside. In every control tick take
d(k) = sign of J x (e(k) - its mean before the step), k = 0 in the tick of the step.

On lines w of 1.5 Hz x 1.025^n, n = 0 to 287, while the step lasts, but no longer than 40 periods
(2 s below 60 Hz), with z = exp(j w Ts):

- A = sum of d(k) z^-k over steps 0 and 1, B over steps 2 and 3, N the number of steps;
- S = (1 - 1/z) (A + B) / (N |J|), L = 1/S - 1; a line counts from 1.5 of its periods on;
- after four steps n = |1 - 1/z| |A - B| / (N |J|); noise explains 3 times the root mean square of n
  of the line and 8 on either side, or 1.5 n if that is more; below 60 Hz at most 0.3 |S|. After two
  steps, and besides, it explains what steps of the encoder add,
  |1 - 1/z|^2 (count / Ts) sqrt(ticks / (12 N)) / |J|;
- mechanics seen from the motor are passive, so that with wi = 1/Tn, T the sum of the drive's lags
  and p = pi/2 - w T - atan(wi / w) - atan(Kv / w), |S| is at most 1 / sin p, where p > 0;
- where |L| passes 1 between two lines, interpolate L and take |S| there, at most 1.5 times that of
  the lines; less what noise explains, and at most 0.5 / sin(p / 2), the largest such |S| gives the
  phase margin, 2 asin(0.5 / |S|);
- what is left: the same sums over k Ts > 0.4 s, below 60 Hz and from 3 periods in that time on. A
  line higher than its neighbours, twice as high as the sixth below it and (after four steps) higher
  than |A - B|, whose amplitude 2 |A + B| / (number of ticks |J|) is above 0.004, is a load that
  swings: `load_driven` is about the lowest;
- a load may swing by itself, in any phase, and answer no step. Split that time of each step into
  blocks of 50 ms. P is the sum of |sum over all blocks|^2 over steps 0 and 1, and likewise over
  2 and 3; a line swings where each P is larger than its neighbours (of 2 and 3: within 3 lines
  of it), 4 times the sixth on either side, and above Q = N (0.002 ticks J)^2, N steps of so many
  ticks. E1 and E2 are the sums over all steps of |sum|^2 over the first and the second half of
  the blocks, weighted by Hann's window, one value a block; only where a half, T long, has 2.5
  periods. The decay is ln(E1 / E2) / (2 T). Of the lowest position gain that this speed gain was
  measured with keep decay d0 and P0 of each line that swings. `load_undamped` is true where a
  line with wi Kv > w^2 / 2 swings, and P > 9 Q and the decay is below 1 / s if none within 3
  lines swung then; else where the decay is below 0.33 d0 and P > 2.25 P0, or P > 81 Q and d0 >
  0.15 / s; or P > 400 Q and the decay is below 0.33 d0 or 0.1 / s;
- a slow load has too few periods for that. Take that time of each step in bins of 20 ms, without
  its mean, and where it is shorter than 6 / Kv without exp(-Kv t). Of damped sines exp(-s t), any
  phase and size in each step, w of 7.5 / s x 1.04^n, n = 0 to 72, from 1.2 periods in the shortest
  step on, s of -0.3, -0.15, 0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.45, 0.7, 1, 1.5, 2.5 and 4 / s, the
  pair counts that explains most of the squares. It is a load if they are nine tenths, n is below
  72, and its torque, Kp sqrt(1 + (wi / w)^2) times its amplitude, is 0.08 of the jump of the torque
  by the step. `load_undamped` is true too where wi Kv > 0.6 w^2 and s is below 0.09 over
  the length of the shortest step's bins, or below 0.33 of what it was, within a fifth of that w, at
  the lowest position gain.

You may store d and evaluate later; the trial waits for `margins_evaluated`. Numbers are those of
the rehearsals (common practice, no source)."""


LOAD_OUTPUT = "position_from_load"
_POSITION_FROM_LOAD = """\
## Position loop over the load

While `position_from_load` is 1, the position loop compares its reference with the sensor at the
load and uses the gain of the stage `load_position_gain`; else it compares with the motor's encoder,
with your own gain. When it changes, either way, the loop begins without an error: what the new
source and the reference are apart in that tick is taken off from then on. Speed is always the
motor's. Following error and travel window stay those of the motor. A load sensor with the wrong
sign drives the motor away slowly: following_error must end that, so try it first by hand."""

SHAKE_OUTPUT = "shake_number"
_SHAKE = """\
## Shaking the load

While `shake_number` is not negative, shake the load once per move and hear it ring. 0 begins a
measurement of four moves. When the reference has had its constant speed for 0.1 s, add the bump
p(t) = +-(h/2)(1 - cos(2 pi t / T)), 0 <= t < T = 0.15 s, and its derivative to the speed reference,
+ for 0 and 1, - for 2 and 3. The height h keeps the bump below 0.2 of cruise speed (h pi / T) and
below the acceleration of a move (2 pi^2 h / T^2). Shakes 2 and 3 begin where
the motor was when 0 and 1 began, not at the same time: what teeth and cogging make the load do must
be the same in both moves of a direction. The motor's place is the reference plus what its measured
position is ahead of it, behind a low-pass of 0.5 s, so that swinging does not count.

From 0.45 s after the begin of the bump take in every sequencer tick x = load - motor, as measured,
for shakes 2 and 3 interpolated to when the motor passed that very place, and with the sign of x
turned. Over windows of W ticks, one behind the other, W of 3 s or as long as two of
them fit into the constant speed, and likewise of W/2 and W/4, sum for each direction

- Z1, Z2 = sum of (1 - cos(2 pi (k + 1/2) / W)) x(k) z^-k over the first and the second window, k
  from the begin of the first, z = exp(j w tick), on lines w of 1 Hz x 1.04^n, n = 0 to 83.

`ringing_heard` is 1 when two windows of W are over. After four shakes, for the longest window that
tells: the line of 2.5 periods a window or more with the largest sum of |Z1|^2 over both directions,
no farther than six lines from that of W/2;
decay s = ln(sum |Z1|^2 / sum |Z2|^2) / (2 W tick); it tells if the amplitude
sqrt(2 sum |Z1|^2) / (2 W) is above 2 counts of the load sensor and sum |Z2|^2 above 0.01 of
sum |Z1|^2, and if the load, smoothed over 20 ticks, never went back while it was heard; or it did,
but the measurement before, in which it did too, at the same gain and another cruise speed, told
the same s within 3 %. Half of what the decays of both directions differ by, as a share of s, is
`decay_spread`.

Keep s for each gain Kv. With two gains or more fit the straight line s = s0 - c Kv; the limit is
s0 / c. With one, c is 0.65 (of masses in a row behind a motor that stands, no swinging loses more
than that per unit of gain; one mass loses 0.5): the least that the limit can be. `load_limit_rung`
is the highest rung not above it, 0 if none is. Numbers are those of the rehearsals (common
practice, no source)."""


PROFILE_OUTPUT = "profile_watch"
_PROFILE = """\
## Whole moves, and hunting

While `profile_watch` is 1 measure each move from its new target on: the largest |reference -
position|; once the reference rests, the largest way past the target; and, in looks of 0.5 s, half
of what the load's sensor swings, or the encoder where there is none. `rest_jumps` tells hunting,
the cycle of integral action with static friction, from an axis that swings. A position that stays
within 1.5 counts for 20 ms, and for twice as long as it took to come there, sticks; the time to
come there counts from when it was last within 8 counts of where it stuck before. From one such
place to the next, 24 counts or more away, is a jump. A jump that goes the same way as the last one,
or has less than 0.7 of the size of the first in its row, begins a new row with a count of 1; any
other counts, if it comes 0.4 s or more after the last that did: a motor that a swinging load pulls
to and fro jumps less far each time. Smaller jumps nobody can tell from swinging. Numbers are those
of the rehearsals (common practice, no source)."""


OUTPUT_SECTIONS = (
    (SHARE_OUTPUT, _CRUISE_SHARE),
    (STEP_OUTPUT, _POSITION_STEP),
    (MARGINS_OUTPUT, _STEP_MARGINS),
    (LOAD_OUTPUT, _POSITION_FROM_LOAD),
    (SHAKE_OUTPUT, _SHAKE),
    (PROFILE_OUTPUT, _PROFILE),
)
"""Outputs of a trial that a drive must know more of."""
