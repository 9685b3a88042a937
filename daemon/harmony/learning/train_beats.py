#!/usr/bin/env python3
"""Learn what strikes tell of beats: on a beat, begins a bar, how long a beat is, how many beats a bar has.

usage: train_beats.py OUT.pt DUMP[=SHARE]... [--live] [--epochs N] [--export TABLE.inc] [--load IN.pt] [--seed N] [--device cpu|cuda] [--batch N]
DUMP comes from dump_strikes.cpp; SHARE is how often its takes are drawn, 1 by default. Beside every FILE.mid lies FILE.truth.json with "beats", and "downbeats" where they are known. Every
twentieth file of a dump is kept out of learning and reported. The network: one layer on the inputs of each
strike, then dilated convolutions over the strikes with residual connections (as in Davies & Boeck, EUSIPCO 2019, which has frames in
the place of strikes), then the four answers. With --live the smaller network that hears only what came before (harmony/live_strikes.h).
PyTorch (Debian: python3-torch). On a CPU: same seed and version, same table.
"""
import argparse, bisect, json, multiprocessing, os, numpy as np, torch, torch.nn as nn, torch.nn.functional as F

WIDTH = 193                                 # all inputs
PAST = 92                                   # those that only what came before tells; they are the first
PERIODS, FIRST, OCTAVE = 31, .22, 10        # lengths of a beat, seconds, bins an octave
METRES = (2, 3, 4, 5, 7)
UNITS, LIVE_UNITS, REACHES = 128, 64, (1, 2, 4, 8, 16, 32, 64)      # of the hidden layers; in strikes
NOISE, LIVE_DROP = .15, .15

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
    def __init__(self, live):
        super().__init__()
        self.live, self.width = live, PAST if live else WIDTH
        c, dil = LIVE_UNITS if live else UNITS, REACHES
        self.first = nn.Conv1d(self.width, c, 1)
        self.convs = nn.ModuleList([nn.Conv1d(c, c, 3, dilation=d) for d in dil]); self.dil = dil
        self.last = nn.Conv1d(c, 2 + PERIODS + len(METRES), 1)
    def forward(self, x, drop=0.):
        h = F.relu(self.first(x[:, :self.width]))
        for conv, d in zip(self.convs, self.dil):
            h = h + F.dropout(F.relu(conv(F.pad(h, (2 * d, 0) if self.live else (d, d)))), drop)
        return self.last(h)

def soft_period(length):
    place = torch.clamp(OCTAVE * torch.log2(torch.clamp(length, min=.05) / FIRST), 0, PERIODS - 1)
    return torch.clamp(1 - (place[..., None] - torch.arange(PERIODS, device=length.device)).abs(), min=0)

def losses(z, y):
    on, down, length, metre = y[..., 0], y[..., 1], y[..., 2], y[..., 3]
    z = z.transpose(1, 2)
    a = F.binary_cross_entropy_with_logits(z[..., 0], on.clamp(min=0), reduction='none')[on >= 0]
    b = F.binary_cross_entropy_with_logits(z[..., 1], down.clamp(min=0), reduction='none')[down >= 0]
    known = length > 0
    c = -(F.log_softmax(z[..., 2:2 + PERIODS], -1) * soft_period(length)).sum(-1)[known]
    m = metre >= 0
    d = F.cross_entropy(z[..., 2 + PERIODS:][m], metre[m].long(), reduction='none') if m.any() else torch.zeros(0, device=z.device)
    return a, b, c, d

def report(net, data, text):
    net.eval(); sums = [[0, 0., 0] for _ in range(4)]; right = [0, 0, 0, 0]
    with torch.no_grad():
        for begin, end in data.spans.tolist():
            x, y = data.x[begin:end].float(), data.y[begin:end][None]
            z = net(x.T[None])
            for k, l in enumerate(losses(z, y)): sums[k][0] += len(l); sums[k][1] += float(l.sum())
            z = z.transpose(1, 2)
            right[0] += int((((z[..., 0] > 0) == (y[..., 0] > .5)) & (y[..., 0] >= 0)).sum()); right[1] += int((((z[..., 1] > 0) == (y[..., 1] > .5)) & (y[..., 1] >= 0)).sum())
            place = OCTAVE * torch.log2(y[..., 2].clamp(min=.05) / FIRST)
            right[2] += int((((z[..., 2:2 + PERIODS].argmax(-1) - place).abs() < 2.2) & (y[..., 2] > 0)).sum())
            right[3] += int(((z[..., 2 + PERIODS:].argmax(-1) == y[..., 3]) & (y[..., 3] >= 0)).sum())
    print(text, ' | '.join('%s %.3f right %.3f' % (n, s[1] / max(1, s[0]), g / max(1, s[0])) for n, s, g in zip(('beat', 'bar', 'length', 'metre'), sums, right)), flush=True)

class Strikes:
    """Takes one after the other: inputs in half precision, labels, where each take begins and ends."""
    def __init__(self, takes, device):
        ends = np.cumsum([len(x) for x, _ in takes])
        self.spans = torch.tensor(np.stack([ends - [len(x) for x, _ in takes], ends], 1), device=device) if takes else torch.zeros(0, 2).long()
        self.x = torch.from_numpy(np.concatenate([x for x, _ in takes])).to(device) if takes else torch.zeros(0, WIDTH)
        self.y = torch.from_numpy(np.concatenate([y for _, y in takes])).to(device) if takes else torch.zeros(0, 4)

def labelled(path):
    return [(x.astype(np.float16), label(name, at, pace)) for name, at, pace, x in read(path) if len(x) > 24]

def with_noise(x):
    """The live network shall not rely on exact values: people play less evenly than what it learns from."""
    return x * (1 + NOISE * torch.randn(*x.shape[:2], 1, device=x.device)) + NOISE * torch.randn_like(x)

def train(net, data, share, epochs, rate, batch, device, T=256):
    length = data.spans[:, 1] - data.spans[:, 0]
    likely = length * share.to(device)
    steps = max(1, int(epochs * float(likely.sum()) / (batch * T)))
    opt = torch.optim.AdamW(net.parameters(), lr=rate, weight_decay=1e-2)
    mean, slow = 0., {k: v.detach().clone() for k, v in net.state_dict().items()}
    for s in range(steps):
        for g in opt.param_groups: g['lr'] = rate * min(1, (s + 1) / 200) * (1 - s / steps) + 1e-6
        i = torch.multinomial(likely.float(), batch, replacement=True)
        first = data.spans[i, 0] + (torch.rand(batch, device=device) * (length[i] - T + 1).clamp(min=1)).long()
        at = first[:, None] + torch.arange(T, device=device)
        inside = at < data.spans[i, 1][:, None]
        at = at.clamp(max=len(data.x) - 1)
        x = data.x[at].float() * inside[..., None]
        y = torch.where(inside[..., None], data.y[at], torch.tensor([-1., -1., 0., -1.], device=device))
        net.train()
        x = x.transpose(1, 2)
        parts = losses(net(with_noise(x), LIVE_DROP) if net.live else net(x, .1), y)
        loss = sum(w * l.sum() / (batch * T) for w, l in zip((1., 1.2, .5, .3), parts))
        opt.zero_grad(); loss.backward(); nn.utils.clip_grad_norm_(net.parameters(), 1.); opt.step()
        for k, v in net.state_dict().items(): slow[k].lerp_(v, max(.002, 1 / (s + 1)))  # the mean of the last weights
        mean += .02 * (loss.item() - mean) if s % 50 == 0 else 0
        if s % 1000 == 999: print('step %d of %d, loss %.4f' % (s + 1, steps, mean), flush=True)
    net.load_state_dict(slow)

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
    ap.add_argument('--live', action='store_true'); ap.add_argument('--epochs', type=float, default=10); ap.add_argument('--export'); ap.add_argument('--load'); ap.add_argument('--device', default='cpu')
    ap.add_argument('--seed', type=int, default=1); ap.add_argument('--rate', type=float, default=3e-3); ap.add_argument('--batch', type=int, default=24)
    o = ap.parse_args()
    torch.manual_seed(o.seed)
    if o.device == 'cpu': torch.set_num_threads(1)
    paths = [d.split('=')[0] for d in o.dumps]
    with multiprocessing.Pool() as pool: groups = pool.map(labelled, paths)
    share = [float(d.split('=')[1]) if '=' in d else 1. for d in o.dumps]
    learn = Strikes([f for g in groups for i, f in enumerate(g) if i % 20], o.device)
    shares = torch.tensor([w for g, w in zip(groups, share) for i, _ in enumerate(g) if i % 20])
    net = Net(o.live)
    if o.load: net.load_state_dict(torch.load(o.load, map_location='cpu'))
    elif len(learn.x):
        some = learn.x[::37, :net.width].float().cpu(); mean, sd = some.mean(0), some.std(0) + .05
        with torch.no_grad():                                   # inputs of mean 0 and spread 1, by the first layer's weights
            net.first.weight /= sd[None, :, None]; net.first.bias -= (net.first.weight[:, :, 0] @ mean)
    net.to(o.device)
    print(len(learn.x), 'strikes', sum(p.numel() for p in net.parameters()), 'weights', flush=True)
    if len(learn.x) and o.epochs: train(net, learn, shares, o.epochs, o.rate, o.batch, o.device)
    kinds = {}
    for p, g in zip(paths, groups): kinds.setdefault(os.path.basename(p).split('.')[0], []).extend(g[::20])
    for p, g in kinds.items(): report(net, Strikes(g, o.device), 'held out of %s:' % p)
    net.cpu(); torch.save(net.state_dict(), o.out)
    if o.export: export(net, o.export)

if __name__ == '__main__': main()
