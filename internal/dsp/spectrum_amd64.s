#include "textflag.h"

// Where the parts of lanes stand.
#define RE 0
#define IM 32
#define STEPRE 64
#define STEPIM 96
#define OMEGA 128
#define STEP 160
#define SCALE 192
#define SUMS 224

// faintest.
DATA least<>+0(SB)/8, $1e-30
GLOBL least<>(SB), RODATA|NOPTR, $8

// The turn Y0 + i·Y1 goes on by Y2 + i·Y3, by way of Y7.
#define GOON                \
	VMULPD       Y0, Y3, Y7 \
	VMULPD       Y0, Y2, Y0 \
	VFNMADD231PD Y1, Y3, Y0 \
	VFMADD231PD  Y1, Y2, Y7 \
	VMOVAPD      Y7, Y1

// func readWide(bins *complex64, across *float32, n int, w *lanes)
TEXT ·readWide(SB), NOSPLIT, $0-32
	MOVQ    bins+0(FP), SI
	MOVQ    across+8(FP), DI
	MOVQ    n+16(FP), CX
	MOVQ    w+24(FP), BX
	VMOVUPD RE(BX), Y0
	VMOVUPD IM(BX), Y1
	VMOVUPD STEPRE(BX), Y2
	VMOVUPD STEPIM(BX), Y3
	VMOVUPD OMEGA(BX), Y12
	VXORPD  Y13, Y13, Y13
	VXORPD  Y14, Y14, Y14
	VXORPD  Y15, Y15, Y15

read4:
	VCVTPS2PD    (SI), Y4
	VCVTPS2PD    16(SI), Y5
	VUNPCKLPD    Y5, Y4, Y6      // real
	VUNPCKHPD    Y5, Y4, Y8      // imaginary
	VMULPD       Y6, Y0, Y9
	VFNMADD231PD Y8, Y1, Y9      // real, turned
	VMULPD       Y6, Y1, Y10
	VFMADD231PD  Y8, Y0, Y10     // imaginary, turned
	GOON
	VADDPD       Y9, Y13, Y13
	VMULPD       Y10, Y12, Y10   // by omega
	VADDPD       Y10, Y14, Y14
	VMULPD       Y12, Y12, Y11
	VFMADD231PD  Y9, Y11, Y15
	VADDPD       STEP(BX), Y12, Y12
	TESTQ        DI, DI
	JZ           next
	VMULPD       SCALE(BX), Y10, Y10
	VPERMPD      $0xD8, Y10, Y10
	VCVTPD2PSY   Y10, X10
	VMOVUPS      X10, (DI)
	ADDQ         $16, DI

next:
	ADDQ    $32, SI
	SUBQ    $4, CX
	JNZ     read4
	VMOVUPD Y0, RE(BX)
	VMOVUPD Y1, IM(BX)
	VMOVUPD Y12, OMEGA(BX)
	VMOVUPD Y13, SUMS(BX)
	VMOVUPD Y14, (SUMS+32)(BX)
	VMOVUPD Y15, (SUMS+64)(BX)
	VZEROUPPER
	RET

// func crossWide(x, y, sum *complex128, weight, xx, yy *float64, n int, w *lanes)
TEXT ·crossWide(SB), NOSPLIT, $0-64
	MOVQ         x+0(FP), SI
	MOVQ         y+8(FP), DI
	MOVQ         sum+16(FP), R8
	MOVQ         weight+24(FP), R9
	MOVQ         xx+32(FP), R10
	MOVQ         yy+40(FP), R11
	MOVQ         n+48(FP), CX
	MOVQ         w+56(FP), BX
	VMOVUPD      RE(BX), Y0
	VMOVUPD      IM(BX), Y1
	VMOVUPD      STEPRE(BX), Y2
	VMOVUPD      STEPIM(BX), Y3
	VBROADCASTSD least<>(SB), Y13
	VXORPD       Y14, Y14, Y14
	VXORPD       Y15, Y15, Y15

cross4:
	VMOVUPD      (SI), Y4
	VMOVUPD      32(SI), Y5
	VUNPCKLPD    Y5, Y4, Y6      // x, real
	VUNPCKHPD    Y5, Y4, Y7      // x, imaginary
	VMOVUPD      (DI), Y4
	VMOVUPD      32(DI), Y5
	VUNPCKLPD    Y5, Y4, Y8      // y, real
	VUNPCKHPD    Y5, Y4, Y9      // y, imaginary
	VMULPD       Y6, Y8, Y10
	VFMADD231PD  Y7, Y9, Y10     // conj(x)·y, real
	VMULPD       Y6, Y9, Y11
	VFNMADD231PD Y7, Y8, Y11     // conj(x)·y, imaginary
	VMULPD       Y6, Y6, Y6
	VFMADD231PD  Y7, Y7, Y6      // power of x
	VMULPD       Y8, Y8, Y8
	VFMADD231PD  Y9, Y9, Y8      // power of y
	VMULPD       Y10, Y0, Y4
	VFNMADD231PD Y11, Y1, Y4     // turned, real
	VMULPD       Y10, Y1, Y5
	VFMADD231PD  Y11, Y0, Y5     // turned, imaginary
	GOON
	VUNPCKLPD    Y5, Y4, Y10
	VUNPCKHPD    Y5, Y4, Y11
	VADDPD       (R8), Y10, Y10
	VADDPD       32(R8), Y11, Y11
	VMOVUPD      Y10, (R8)
	VMOVUPD      Y11, 32(R8)
	VPERMPD      $0xD8, Y6, Y10
	VPERMPD      $0xD8, Y8, Y11
	VADDPD       (R10), Y10, Y10
	VADDPD       (R11), Y11, Y11
	VMOVUPD      Y10, (R10)
	VMOVUPD      Y11, (R11)
	VPERMPD      $0xD8, (R9), Y12
	VFMADD231PD  Y8, Y12, Y14    // weighed power of y
	VMULPD       Y6, Y8, Y9
	VCVTPD2PSY   Y9, X10
	VSQRTPS      X10, X10
	VSQRTPS      X10, X10
	VSQRTPS      X10, X11
	VMULPS       X10, X11, X10
	VCVTPS2PD    X10, Y10
	VDIVPD       Y10, Y12, Y10
	VCMPPD       $0x0D, Y13, Y9, Y11 // at least
	VANDPD       Y11, Y10, Y10   // what the turned product is scaled by
	VMULPD       Y10, Y10, Y11
	VFMADD231PD  Y11, Y9, Y15
	VMULPD       Y10, Y4, Y4
	VMULPD       Y10, Y5, Y5
	VUNPCKLPD    Y5, Y4, Y10
	VUNPCKHPD    Y5, Y4, Y11
	VMOVUPD      Y10, (SI)
	VMOVUPD      Y11, 32(SI)
	ADDQ         $64, SI
	ADDQ         $64, DI
	ADDQ         $64, R8
	ADDQ         $32, R9
	ADDQ         $32, R10
	ADDQ         $32, R11
	SUBQ         $4, CX
	JNZ          cross4
	VMOVUPD      Y0, RE(BX)
	VMOVUPD      Y1, IM(BX)
	VMOVUPD      Y14, SUMS(BX)
	VMOVUPD      Y15, (SUMS+32)(BX)
	VZEROUPPER
	RET
