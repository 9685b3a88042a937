#!/usr/bin/env python3
"""Learn what strikes tell of beats: on a beat, begins a bar, how long a beat is, how many beats a bar has.

usage: train_beats.py OUT.pt DUMP[=SHARE]... [--epochs N] [--held DUMP...] [--export TABLE.inc] [--load IN.pt] [--seed N]
DUMP comes from dump_strikes.cpp; SHARE is how often its takes are drawn, 1 by default. Beside every FILE.mid lies FILE.truth.json with "beats", and "downbeats" where they are known. Every
twentieth file of a dump is kept out of learning and reported. The network: one layer on the inputs of each
strike, then dilated convolutions over the strikes with residual connections (as in Davies & Boeck, EUSIPCO 2019, which has frames in
the place of strikes), then the four answers. PyTorch (Debian: python3-torch), CPU. Same seed, threads and version: same table.
"""
import argparse, bisect, json, os, numpy as np, torch, torch.nn as nn, torch.nn.functional as F

WIDTH = 193                                 # all inputs
PERIODS, FIRST, OCTAVE = 31, .22, 10        # lengths of a beat, seconds, bins an octave
METRES = (2, 3, 4, 5, 7)
UNITS, REACHES = 48, (1, 2, 4, 8, 16)       # of the hidden layers; in strikes

def read(path):
    raw = open(path, 'rb').read(); i = 0
    while i < len(raw):
        j = raw.index(b'\n', i); name = raw[i:j].decode(); i = j + 1
        n = int(np.frombuffer(raw, np.int32, 1, i)[0]); i += 4
        at = np.frombuffer(raw, np.float64, n, i); i += 8 * n
        pace = np.frombuffer(raw, np.float64, n, i); i += 8 * n
        x = np.frombuffer(raw, np.float32, n * WIDTH, i).reshape(n, WIDTH); i += 4 * n * WIDTH
        yield name, at, pace, np.nan_to_num(x, nan=-3.)

def label(name, at, pace):
    """For each strike: on a beat, on a downbeat (-1: not known), length of the beat (0: not known), metre (-1: not known)."""
    truth = json.load(open(name[:-4] + '.truth.json'))
    beats, downs = truth['beats'], truth.get('downbeats') or []
    y = np.full((len(at), 4), -1., np.float32); y[:, 2] = 0
    if len(beats) < 4: return y
    places = [bisect.bisect_left(beats, d - .01) for d in downs]
    for k, t in enumerate(at):
        i = bisect.bisect(beats, t)
        j = min(range(max(0, i - 1), min(len(beats), i + 1)), key=lambda q: abs(beats[q] - t))
        around = [b - a for a, b in zip(beats[max(0, j - 1):j + 1], beats[max(0, j - 1) + 1:j + 2])]
        length = min(around)
        if abs(beats[j] - t) > 1.2 * length: continue
        on = abs(beats[j] - t) < min(.06, .15 * length)
        y[k, 0] = on
        y[k, 2] = length * pace[k]
        if downs:
            e = bisect.bisect_left(places, j)
            y[k, 1] = on and e < len(places) and places[e] == j
            e = bisect.bisect_right(places, j) - 1
            if 0 <= e < len(places) - 1 and places[e + 1] - places[e] in METRES: y[k, 3] = METRES.index(places[e + 1] - places[e])
    return y

class Net(nn.Module):
    def __init__(self):
        super().__init__()
        c, dil = UNITS, REACHES
        self.first = nn.Conv1d(WIDTH, c, 1)
        self.convs = nn.ModuleList([nn.Conv1d(c, c, 3, dilation=d) for d in dil]); self.dil = dil
        self.last = nn.Conv1d(c, 2 + PERIODS + len(METRES), 1)
    def forward(self, x, drop=0.):
        h = F.relu(self.first(x))
        for conv, d in zip(self.convs, self.dil):
            h = h + F.dropout(F.relu(conv(F.pad(h, (d, d)))), drop)
        return self.last(h)

def soft_period(length):
    place = torch.clamp(OCTAVE * torch.log2(torch.clamp(length, min=.05) / FIRST), 0, PERIODS - 1)
    return torch.clamp(1 - (place[..., None] - torch.arange(PERIODS)).abs(), min=0)

def losses(z, y):
    on, down, length, metre = y[..., 0], y[..., 1], y[..., 2], y[..., 3]
    z = z.transpose(1, 2)
    a = F.binary_cross_entropy_with_logits(z[..., 0], on.clamp(min=0), reduction='none')[on >= 0]
    b = F.binary_cross_entropy_with_logits(z[..., 1], down.clamp(min=0), reduction='none')[down >= 0]
    known = length > 0
    c = -(F.log_softmax(z[..., 2:2 + PERIODS], -1) * soft_period(length)).sum(-1)[known]
    m = metre >= 0
    d = F.cross_entropy(z[..., 2 + PERIODS:][m], metre[m].long(), reduction='none') if m.any() else torch.zeros(0)
    return a, b, c, d

def report(net, files, text):
    net.eval(); sums = [[0, 0., 0] for _ in range(4)]; right = [0, 0, 0, 0]
    with torch.no_grad():
        for x, y in files:
            z = net(x.T[None]); y = y[None]
            for k, l in enumerate(losses(z, y)): sums[k][0] += len(l); sums[k][1] += float(l.sum())
            z = z.transpose(1, 2)
            right[0] += int((((z[..., 0] > 0) == (y[..., 0] > .5)) & (y[..., 0] >= 0)).sum()); right[1] += int((((z[..., 1] > 0) == (y[..., 1] > .5)) & (y[..., 1] >= 0)).sum())
            place = OCTAVE * torch.log2(y[..., 2].clamp(min=.05) / FIRST)
            right[2] += int((((z[..., 2:2 + PERIODS].argmax(-1) - place).abs() < 2.2) & (y[..., 2] > 0)).sum())
            right[3] += int(((z[..., 2 + PERIODS:].argmax(-1) == y[..., 3]) & (y[..., 3] >= 0)).sum())
    print(text, ' | '.join('%s %.3f right %.3f' % (n, s[1] / max(1, s[0]), g / max(1, s[0])) for n, s, g in zip(('beat', 'bar', 'length', 'metre'), sums, right)), flush=True)

def load(paths):
    return [[(torch.from_numpy(x.copy()), torch.from_numpy(label(name, at, pace))) for name, at, pace, x in read(p)] for p in paths]

def train(net, learn, held, epochs, rate, batch=24, T=192, rng=None):
    lengths = np.array([len(x) * w for x, _, w in learn], float)
    steps = int(epochs * lengths.sum() / (batch * T)); share = lengths / lengths.sum()
    opt = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-3)
    mean = 0.
    for s in range(steps):
        for g in opt.param_groups: g['lr'] = rate * min(1, (s + 1) / 100) * (1 - s / steps) + 1e-6
        xs, ys = [], []
        for i in rng.choice(len(learn), batch, p=share):
            x, y, _ = learn[i]; a = rng.integers(0, max(1, len(x) - T + 1)); x, y = x[a:a + T], y[a:a + T]
            if len(x) < T: x, y = F.pad(x, (0, 0, 0, T - len(x))), F.pad(y, (0, 0, 0, T - len(y)), value=-1.)
            xs.append(x); ys.append(y)
        net.train()
        parts = losses(net(torch.stack(xs).transpose(1, 2), .1), torch.stack(ys))
        loss = sum(w * l.sum() / (batch * T) for w, l in zip((1., 1.2, .5, .3), parts))
        opt.zero_grad(); loss.backward(); nn.utils.clip_grad_norm_(net.parameters(), 1.); opt.step()
        mean += .02 * (float(loss) - mean)
        if s % 100 == 99: print('step %d of %d, loss %.4f' % (s + 1, steps, mean), flush=True)
        if s % 600 == 599:
            for p, g in held: report(net, g, '  ' + os.path.basename(p))

def export(net, path):
    """Whole numbers of 8 bits, with a scale for each output channel."""
    def table(f, name, v, kind): f.write('constexpr %s %s[] = {%s};\n' % (kind, name, ','.join(('%d' % q) if kind != 'float' else ('%.5g' % q if '.' in '%.5g' % q or 'e' in '%.5g' % q else '%.5g.' % q) + 'f' for q in v.ravel())))
    with open(path, 'w') as f:
        f.write('// Made by daemon/harmony/learning/train_beats.py; see README there.\n')
        layers = [('First', net.first)] + [('Conv%d' % i, c) for i, c in enumerate(net.convs)] + [('Last', net.last)]
        for name, l in layers:
            w = l.weight.detach().numpy()                       # out, in, taps
            scale = np.maximum(np.abs(w).max((1, 2)), 1e-6) / 127
            q = np.round(w / scale[:, None, None])
            l.weight.data = torch.from_numpy((q * scale[:, None, None]).astype(np.float32))
            q = q.transpose(2, 1, 0)                            # taps, in, out
            pad = (-q.shape[2]) % 8                             # whole vectors
            q = np.pad(q, ((0, 0), (0, 0), (0, pad)))
            table(f, 'k%s' % name, q.astype(int), 'std::int8_t')
            table(f, 'k%sScale' % name, np.pad(scale, (0, pad)), 'float')
            table(f, 'k%sBias' % name, np.pad(l.bias.detach().numpy(), (0, pad)), 'float')

def main():
    ap = argparse.ArgumentParser(); ap.add_argument('out'); ap.add_argument('dumps', nargs='*')
    ap.add_argument('--epochs', type=float, default=10); ap.add_argument('--held', nargs='*', default=[]); ap.add_argument('--export'); ap.add_argument('--load')
    ap.add_argument('--seed', type=int, default=1); ap.add_argument('--rate', type=float, default=3e-3)
    o = ap.parse_args()
    torch.manual_seed(o.seed); rng = np.random.default_rng(o.seed); torch.set_num_threads(1)
    groups = load([d.split('=')[0] for d in o.dumps])
    share = [float(d.split('=')[1]) if '=' in d else 1. for d in o.dumps]
    learn = [(*f, w) for g, w in zip(groups, share) for i, f in enumerate(g) if i % 20 and len(f[0]) > 24]
    held = list(zip(o.held, load(o.held)))
    net = Net()
    if o.load: net.load_state_dict(torch.load(o.load))
    elif learn:
        x = torch.cat([f[0] for f in learn[::3]]); mean, sd = x.mean(0), x.std(0) + .05
        with torch.no_grad():                                   # inputs of mean 0 and spread 1, by the first layer's weights
            net.first.weight /= sd[None, :, None]; net.first.bias -= (net.first.weight[:, :, 0] @ mean)
    print(sum(len(f[0]) for f in learn), 'strikes', sum(p.numel() for p in net.parameters()), 'weights', flush=True)
    if learn: train(net, learn, held, o.epochs, o.rate, rng=rng)
    torch.save(net.state_dict(), o.out)
    if o.export: export(net, o.export)
    for p, g in zip(o.dumps, groups): report(net, g[::20], 'held out of %s:' % os.path.basename(p))
    for p, g in held: report(net, g, 'never learnt from, %s:' % os.path.basename(p))

if __name__ == '__main__': main()
