#!/bin/sh
# Makes the small copies in this folder from the originals named in README.md.
# usage: make.sh FOLDER-WITH-ORIGINALS   (holding speech/ and rir/)
set -eu
from=$1
here=$(cd "$(dirname "$0")" && pwd)
speech() { # original, short name: mono 16 kHz, 4-bit IMA ADPCM
	ffmpeg -v error -y -i "$from/speech/$1" -ac 1 -ar 16000 -map_metadata -1 -fflags +bitexact -flags +bitexact \
		-c:a adpcm_ima_wav "$here/speech/$2.wav"
}
speech asterisk_en_US_f_Allison_demo-instruct.flac en-instruct
speech asterisk_en_US_f_Allison_demo-congrats.flac en-congrats
speech asterisk_en_US_f_Allison_priv-callee-options.flac en-options
speech asterisk_fr_CA_f_June_demo-instruct.flac fr-instruct
speech librispeech_1088-134315-0000.wav reader-1088
speech LJ050-0131.wav reader-lj
speech ami_ES2011a_headset0.wav headset-es2011a
speech lyra_sample1_48kHz.wav talk-1
speech lyra_sample2_48kHz.wav talk-2
speech chime6_inear_S01-P01-786906_787403.flac dinner-p01
speech chime6_inear_S01-P02-942311_943384.flac dinner-p02
speech chime6_inear_S01-P03-158380_159040.flac dinner-p03
speech chime6_inear_S01-P04-658210_658742.flac dinner-p04

room() { # original, short name, fade from, end, rate, channel: 16 bit
	ffmpeg -v error -y -i "$from/rir/$1" -af "pan=mono|c0=c$6,afade=t=out:st=$3:d=0.1,atrim=end=$4" \
		-ar "$5" -map_metadata -1 -fflags +bitexact -flags +bitexact -c:a pcm_s16le "$here/rir/$2.wav"
}
room kitchen-true-stereo.wav kitchen 0.7 0.8 44100 3
room seminar_room_board_clap.wav seminar-room 0.8 0.9 44100 0
room genesis6_studio_live_room.wav live-room 0.9 1.0 48000 0
room museum_basement_hand_clap.wav stone-cellar 1.5 1.6 32000 0
