#!/usr/bin/env python3
"""Shows which steps of the last build took longest, from ninja's log. Steps run in parallel, so their sum is more than the
elapsed time.

usage: build_times.py [BUILD_FOLDER [COUNT]]      build, 25
"""
import collections, pathlib, sys


def main(folder='build', count='25'):
    took = {}
    for line in (pathlib.Path(folder) / '.ninja_log').read_text().splitlines():
        if line.startswith('#'): continue
        begin, end, _, output, _ = line.split('\t')
        if not output.startswith('/'): took[output] = (int(end) - int(begin)) / 1000   # the latest build of this output
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
