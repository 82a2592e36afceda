/* Sound from the microphone or a file, brought to one channel at the rate that is heard. The desk records with this too. */
(function (H) {
  "use strict";
  const { RATE_HZ } = H.figures.spectra;
  const LARGEST_BYTES = 300e6;
  const RAW = { autoGainControl: false, noiseSuppression: false, echoCancellation: false };
  const BEST = { audioBitsPerSecond: 256000 };
  const KINDS = ["audio/webm;codecs=pcm", "audio/webm;codecs=opus", "audio/mp4", "audio/ogg;codecs=opus"];

  /* A file's or a take's sound, of one channel; the browser brings it to the rate that is heard. */
  H.samplesOf = async (blob) => {
    if (blob.size > LARGEST_BYTES) throw new Error("yours_long");
    const bytes = await blob.arrayBuffer();
    const sound = await new OfflineAudioContext(1, 1, RATE_HZ).decodeAudioData(bytes).catch(() => { throw new Error("yours_unread"); });
    const samples = new Float32Array(sound.length);
    for (let channel = 0; channel < sound.numberOfChannels; channel += 1) {
      const own = sound.getChannelData(channel);
      for (let at = 0; at < samples.length; at += 1) samples[at] += H.clip(own[at] || 0, -8, 8) / sound.numberOfChannels;
    }
    return samples;
  };

  /* A sound as a file of 16 bits (RIFF WAVE), a sixth of what a browser records. */
  H.waveOf = (samples) => {
    const bytes = new DataView(new ArrayBuffer(44 + 2 * samples.length));
    const words = (at, text) => [...text].forEach((letter, n) => bytes.setUint8(at + n, letter.charCodeAt(0)));
    words(0, "RIFF");
    bytes.setUint32(4, 36 + 2 * samples.length, true);
    words(8, "WAVEfmt ");
    bytes.setUint32(16, 16, true);
    [1, 1].forEach((value, n) => bytes.setUint16(20 + 2 * n, value, true));
    [RATE_HZ, 2 * RATE_HZ].forEach((value, n) => bytes.setUint32(24 + 4 * n, value, true));
    [2, 16].forEach((value, n) => bytes.setUint16(32 + 2 * n, value, true));
    words(36, "data");
    bytes.setUint32(40, 2 * samples.length, true);
    samples.forEach((value, n) => bytes.setInt16(44 + 2 * n, Math.round(32767 * H.clip(value, -1, 1)), true));
    return new Blob([bytes], { type: "audio/wav" });
  };

  /* ---- the microphone */

  H.canRecord = () => Boolean(navigator.mediaDevices && navigator.mediaDevices.getUserMedia && window.MediaRecorder);

  /* Asks for the microphone as it is, without what devices do to voices; `settings` is what this one really does. */
  H.openMicrophone = async () => {
    const stream = await navigator.mediaDevices.getUserMedia({ audio: { ...RAW } });
    const kind = KINDS.find((one) => MediaRecorder.isTypeSupported(one));
    const recorder = new MediaRecorder(stream, kind ? { ...BEST, mimeType: kind } : BEST);
    const parts = [];
    recorder.addEventListener("dataavailable", ({ data }) => parts.push(data));
    const done = new Promise((resolve) => {
      recorder.addEventListener("stop", () => resolve(new Blob(parts, { type: recorder.mimeType })));
    });
    const settings = stream.getAudioTracks()[0].getSettings();
    return {
      left: Object.keys(RAW).filter((name) => settings[name] !== false),
      start: () => recorder.start(),
      stop() {
        if (recorder.state !== "inactive") recorder.stop();
        stream.getTracks().forEach((track) => track.stop());
        return done;
      },
    };
  };
})(window.TercetHearing);
