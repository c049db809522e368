import fc from 'fast-check'

/** The same dice for every run, so that a red test is red again; FC_SEED=$RANDOM rolls others by hand. */
fc.configureGlobal({ seed: Number(process.env.FC_SEED ?? 20_261_125) })
