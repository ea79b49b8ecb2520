#!/bin/sh
# Speaks lines.txt with espeak-ng and packs each line as voice/NAME.wav: mono,
# 16 kHz, 4-bit IMA ADPCM, silence at both ends cut. Needs espeak-ng and ffmpeg.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
work=$(mktemp -d)
trap 'rm -r "$work"' EXIT
mkdir -p "$here/voice"
tab=$(printf '\t')
cut='silenceremove=start_periods=1:start_threshold=-50dB'
# Formant voices sound thin and sharp: some warmth, less hiss.
warm='highpass=f=70,equalizer=f=220:t=q:w=1:g=3,highshelf=f=4500:g=-4,lowpass=f=7500'
while IFS="$tab" read -r name who text; do
	case $who in
	ada) set -- -v en-gb-x-rp+f3 -p 46 -s 152 -g 2 ;;
	ben) set -- -v en-us+m3 -p 40 -s 150 -g 2 ;;
	esac
	espeak-ng "$@" -w "$work/line.wav" "$text"
	ffmpeg -v error -y -i "$work/line.wav" -af "$cut,areverse,$cut,areverse,$warm" -ac 1 -ar 16000 \
		-map_metadata -1 -fflags +bitexact -flags +bitexact -c:a adpcm_ima_wav "$here/voice/$name.wav" </dev/null
done <"$here/lines.txt"
