#!/usr/bin/env python3
"""What of the last build took longest, from ninja's log; steps run beside each other, so the sum is more than the clock said.

usage: build_times.py [BUILD_FOLDER [COUNT]]      build, 25
"""
import collections, pathlib, sys


def main(folder='build', count='25'):
    took = {}
    for line in (pathlib.Path(folder) / '.ninja_log').read_text().splitlines():
        if line.startswith('#'): continue
        begin, end, _, output, _ = line.split('\t')
        if not output.startswith('/'): took[output] = (int(end) - int(begin)) / 1000   # the last time it was made
    by_target = collections.Counter()
    for output, seconds in took.items():
        target = next((part for part in output.split('/') if part.endswith('.dir')), 'linking and the rest')
        by_target[target.removesuffix('.dir')] += seconds
    for output, seconds in sorted(took.items(), key=lambda each: -each[1])[:int(count)]: print('%7.1f s  %s' % (seconds, output))
    print()
    for target, seconds in by_target.most_common(): print('%7.1f s  %s' % (seconds, target))
    print('%7.1f s  all %d steps' % (sum(took.values()), len(took)))


if __name__ == '__main__':
    main(*sys.argv[1:])
