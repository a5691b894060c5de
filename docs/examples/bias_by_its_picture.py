"""Bias of the practice deck by its picture, from Python.

Plain Python that runs as it stands; editors that know percent cells open it as a notebook.
"""

# %% [markdown]
# A practice deck of one track, found beside the ideal. Nothing of its inside is looked at before
# the end: samples go in, samples come back, a hand turns a screw.

# %%
import matplotlib as mpl
import numpy as np
import soundfile

from fluxbench.deck import PracticeDeck
from fluxbench.measure import tone_levels

mpl.use("Agg")
from matplotlib import pyplot

deck = PracticeDeck(tracks=1, speed_ips=15, seed=5)
sheet = deck.load("stock")["data_sheet"]
zero_vu_dbfs = 4.0 - 20.0  # 0 VU is +4 dBu, full scale +20 dBu
short_hz = sheet["over_bias_frequency_hz"]
long_hz = short_hz / 10
sent_frames = 0


# %% [markdown]
# One way in and out: the sheet's short wave at −20 dB re operating level, and ten times its
# wavelength 10 dB below. Phases go on from call to call.


# %%
def record(seconds):
    """Send both tones for so long; what comes back, shape (frames, 1)."""
    global sent_frames
    frames = round(seconds * deck.rate_hz)
    time_s = (sent_frames + np.arange(frames)) / deck.rate_hz
    sent_frames += frames
    send = 10 ** ((zero_vu_dbfs - 20) / 20) * np.sin(2 * np.pi * short_hz * time_s)
    send += 10 ** ((zero_vu_dbfs - 30) / 20) * np.sin(2 * np.pi * long_hz * time_s)
    return deck.process(send.astype(np.float32)[:, np.newaxis])


# %% [markdown]
# Which way is *more* nobody said. D, the short less the long wave, falls as bias rises: one small
# turn tells. Then down until short waves are lost on the near side of the peak, and up through it
# until they have fallen by 5 dB on the far one.

# %%
while deck.state()["winding"]:
    record(0.1)
deck.transport(state="record", ready=[1], monitor="reproduce")
record(1.5)

takes, short_db, difference_db = [], [], []


def take():
    """One second of the return, kept and measured."""
    takes.append(record(1.0))
    short = float(tone_levels(takes[-1], deck.rate_hz, short_hz).level_dbfs[0])
    long = float(tone_levels(takes[-1], deck.rate_hz, long_hz).level_dbfs[0])
    short_db.append(short - zero_vu_dbfs)
    difference_db.append(short - long - 10)


def turn(turns):
    """A turn, the time it takes, and the way of the tape from head to head."""
    record(deck.turn("bias", turns, track=1) + 0.3)
    take()


take()
turn(0.4)
way = 1.0 if difference_db[1] < difference_db[0] else -1.0
turn(-2.0 * way)
while short_db[-1] > short_db[-2] - 1.0:
    turn(-2.0 * way)
first = len(takes)
while len(takes) < first + 4 or short_db[-1] > max(short_db[first:]) - 5.0:
    turn(0.4 * way)

# %% [markdown]
# The capture is a file like any other: `fluxbench read` measures it as well.

# %%
capture = np.concatenate(takes)
soundfile.write("bias.wav", capture, deck.rate_hz, subtype="PCM_24")

# %% [markdown]
# The picture: S against D. A cubic near the top has the peak; the sheet's point lies so far below
# it on the side of more bias.

# %%
s, d = np.array(short_db[first:]), np.array(difference_db[first:])
assert 0 < np.argmax(s) < len(s) - 1, "a peak needs points on both sides"
near = s > s.max() - 2.2
middle_db = d[near].mean()
cubic = np.polynomial.Polynomial.fit(d[near] - middle_db, s[near], 3)
fine_db = np.linspace(d[near].min(), d[near].max(), 400)
peak_db = cubic(fine_db - middle_db).max()
over_bias_db = peak_db - s
past = np.argmax(s)
at_sheet_db = np.interp(sheet["over_bias_db"], over_bias_db[past:], d[past:])
print(f"the peak reads {peak_db:+.2f} dB; the sheet wants {sheet['over_bias_db']:.2f} dB below it")

# %% [markdown]
# Back to that point. A screw has backlash: the last move comes from the same side, in small turns,
# while a reading says where it stands.

# %%
turn(-2.0 * way)
while (left_db := sheet["over_bias_db"] - (peak_db - short_db[-1])) > 0.05:
    turn(way * min(0.3, max(0.02, 0.15 * left_db)))

# %% [markdown]
# Now the deck tells its truth: over-bias less the sheet's, by its own formulas.

# %%
truth_db = deck.truth()["residual"]["over_bias_db"][0]
print(f"read {-left_db:+.2f} dB from the sheet, truly {truth_db:+.2f} dB")

# %%
figure, axes = pyplot.subplots(figsize=(7, 3.6), layout="constrained")
axes.plot(d, s, "o", color="#94501f", label="read, one second each")
axes.plot(fine_db, cubic(fine_db - middle_db), color="#005f96", label="cubic near the top")
axes.plot(at_sheet_db, peak_db - sheet["over_bias_db"], "D", color="#b23100", label="sheet")
axes.invert_xaxis()
axes.set(xlabel="more bias →   short less long wave, dB", ylabel="short wave, dB re 0 VU")
axes.legend(frameon=False)
figure.savefig("bias.png", dpi=110)
